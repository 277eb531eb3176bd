"""Run by the MicroPython interpreter: the power goes at every write to the flash while a slot is changed.

The file systems are the real ones (VfsFat and VfsLfs2 of the interpreter) on a block device in memory. What a cut
leaves is mounted again. On FAT a block is written whole or not at all; littlefs also gets a block half written.
"""

import os

import vfs

from beamfall_board.slots import Slots
from beamfall_board.table import Table

SIZES = {"VfsFat": (100, 512), "VfsLfs2": (32, 1024)}  # blocks, bytes in one
OLD, NEW, NEXT, OTHER = 111, 222, 333, 444  # widths that tell the tables apart


class PowerLoss(Exception):
    """Not an OSError: the firmware must not catch it, since it has no power."""


class Flash:
    """A block device. The power fails at erasure or write number `cut`, and nothing is written after that."""

    def __init__(self, data, size):
        self.size = size
        self.data = data
        self.torn = False  # the write that is cut has half happened
        self.done = 0
        self.cut = -1
        self.dead = False  # what is left open of this board is closed by the garbage collector, which must not matter

    def _use_power(self):
        if self.done == self.cut:
            raise PowerLoss
        self.done += 1

    def readblocks(self, number, buffer, offset=0):
        if self.dead:
            return
        if self.done == self.cut:
            raise PowerLoss
        at = number * self.size + offset
        buffer[:] = self.data[at : at + len(buffer)]

    def writeblocks(self, number, buffer, offset=0):
        if self.dead:
            return
        at = number * self.size + offset
        if self.torn and self.done == self.cut:
            half = len(buffer) // 2
            self.data[at : at + half] = buffer[:half]
            self.torn = False
        self._use_power()
        self.data[at : at + len(buffer)] = buffer

    def ioctl(self, what, number):
        if what == 4:
            return len(self.data) // self.size
        if what == 5:
            return self.size
        if what == 6 and not self.dead:
            self._use_power()
            at = number * self.size
            self.data[at : at + self.size] = b"\xff" * self.size
        return 0

    def copy(self):
        return Flash(bytearray(self.data), self.size)


def make_table(width, rows=1):
    table = Table(64)
    table.make_single(1, width, 1000, 0)
    table.rows = rows
    for row in range(1, rows):
        table.set_row(row, 0, 0, 1, 1000 + row * 10000, width)
    return table


class Board:
    """The slots of a board that starts with what `flash` holds."""

    def __init__(self, system, flash):
        self.flash = flash
        vfs.mount(system(flash), "/board")
        self.slots = Slots("/board/slots")

    def holds(self, slot):
        table = Table(64)
        return table.width[0] if self.slots.load(slot, table) else None

    def off(self):
        """What the flash holds if the power fails now."""
        self.flash.dead = True
        left = self.flash.copy()
        vfs.umount("/board")
        return left


def save_new(slots):
    return slots.save(1, make_table(NEW))


def save_long(slots):
    return slots.save(1, make_table(NEW, 64))


def save_next(slots):
    return slots.save(1, make_table(NEXT))


def erase(slots):
    return slots.erase(1)


def choose(slots):
    return slots.choose(2)


CHANGES = (
    # name, saved in slot 1 before, change, what slot 1 holds without and with it, what is chosen without and with it
    ("first save", (), save_new, (None, NEW), (0, 0)),
    ("save over one", (OLD,), save_new, (OLD, NEW), (0, 0)),
    ("save over one that was saved over", (NEXT, OLD), save_new, (OLD, NEW), (0, 0)),
    ("a third time", (NEXT, NEXT, OLD), save_new, (OLD, NEW), (0, 0)),
    ("save 64 rows over one", (OLD,), save_long, (OLD, NEW), (0, 0)),
    ("erase one", (OLD,), erase, (OLD, None), (0, 0)),
    ("erase one that was saved over", (NEXT, OLD), erase, (OLD, None), (0, 0)),
    ("choose", (OLD,), choose, (OLD, OLD), (0, 2)),
)


def prepare(system, blocks, size, before):
    flash = Flash(bytearray(blocks * size), size)
    system.mkfs(flash)
    board = Board(system, flash)
    assert board.slots.save(2, make_table(OTHER, 30))
    for width in before:
        assert board.slots.save(1, make_table(width))
    return board.off()


def try_change(system, start, change, cut, torn):
    """Change a slot of a board whose power fails at write `cut`: what the change returned or None, how many writes were
    done, and what the flash holds."""
    flash = start.copy()
    board = Board(system, flash)
    flash.done = 0
    flash.cut = cut
    flash.torn = torn
    said = None
    try:  # noqa: SIM105 - MicroPython has no contextlib
        said = change(board.slots)
    except PowerLoss:
        pass
    return said, flash.done, board.off()


def look(system, flash, where, allowed, chosen):
    board = Board(system, flash.copy())
    found = board.holds(1)
    assert found in allowed, (where, found, os.listdir("/board/slots"))
    assert board.slots.chosen() in chosen, (where, board.slots.chosen())
    assert board.holds(2) == OTHER, (where, "another slot")
    return board, found


def run(system_name, torn):
    system = getattr(vfs, system_name)
    blocks, size = SIZES[system_name]
    cuts = 0
    for name, before, change, allowed, chosen in CHANGES:
        start = prepare(system, blocks, size, before)
        said, total, left = try_change(system, start, change, -1, False)
        assert said is True and total >= 1, (name, said, total)
        look(system, left, name, allowed[1:], chosen[1:])[0].off()
        for cut in range(total):
            said, _, left = try_change(system, start, change, cut, torn)
            assert said is None, (name, cut)
            board, found = look(system, left, (name, cut), allowed, chosen)
            board.off()
            cuts += 1
            # The next change meets what the cut has left, and the power goes in it again.
            for next_change, aim in ((save_next, NEXT), (erase, None)):
                said, total_next, _ = try_change(system, left, next_change, -1, False)
                assert said is True, (name, cut)
                for again in range(total_next):
                    _, _, twice = try_change(system, left, next_change, again, torn)
                    cuts += 1
                    where = (name, cut, next_change, again)
                    board, _ = look(system, twice, where, (found, aim), chosen)
                    assert board.slots.save(1, make_table(NEXT, 3)), where
                    assert board.holds(1) == NEXT and board.holds(2) == OTHER, where
                    board.off()
    return cuts


for system_name, torn in (("VfsFat", False), ("VfsLfs2", False), ("VfsLfs2", True)):
    print(system_name, "torn" if torn else "whole", run(system_name, torn))
