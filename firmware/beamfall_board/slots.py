"""Keeps sequences on the board. A power loss during a change leaves either the old one or the new one, complete.

A slot has two files, `slot1.bin` and `slot1.new`; new content goes into the one that is not in use. A complete `.new`
takes precedence over a complete `.bin`. So if `.bin` is in use, the new content counts once `.new` is complete; if
`.new` is in use, the new content goes into `.bin` and counts once `.new` is removed. The file in use is never written
to, and none is renamed: on a FAT file system, renaming onto a file removes it first, and a power loss in between would
leave neither under its name.

A file is: mark (2 bytes), table_begin payload, row records, first 4 bytes of SHA-256 over all that. Slots are
numbered from 1. Two more pairs of files, written the same way, hold the choice of the slot that the board loads at its
start, and the edge constant.
"""

import hashlib
import os

from beamfall_board.table import HEAD_SIZE

SLOTS = 8
_MARK = b"B1"
_CHECK = 4
_CHOICE = 0  # the files that say which slot is loaded at the start
_CONSTANT = 255  # the files that hold the port's edge constant


def _do_nothing():
    pass


def _content(path):
    """The content of a file, or None if it is missing or incomplete."""
    try:
        with open(path, "rb") as file:
            data = file.read()
    except OSError:
        return None
    body = data[:-_CHECK]
    if body[:2] != _MARK or hashlib.sha256(body).digest()[:_CHECK] != data[-_CHECK:]:
        return None
    return body[2:]


def _remove(path):
    try:
        os.remove(path)
    except OSError:
        pass  # there is none


class Slots:
    def __init__(self, folder):
        self._folder = folder  # folder of the files; None: nothing can be kept
        # Called between the steps of a write to feed the watchdog: each step may erase flash (about a second on an
        # STM32), and all together would take too long. requests.py makes sure that nothing is running then.
        self.between_steps = _do_nothing

    def _paths(self, slot):
        stem = "%s/slot%d" % (self._folder, slot)
        return stem + ".bin", stem + ".new"

    def available(self):
        return self._folder is not None

    def _write(self, slot, content):
        """Whether the slot now holds `content`; OSError or False if the file system failed."""
        data = _MARK + content
        data += hashlib.sha256(data).digest()[:_CHECK]
        try:
            os.stat(self._folder)
        except OSError:
            os.mkdir(self._folder)
        first, second = self._paths(slot)
        place, other = first, second
        if _content(second) is None and _content(first) is not None:
            place, other = second, first
        self.between_steps()
        try:
            with open(place, "wb") as file:
                self.between_steps()
                file.write(data)
                self.between_steps()
            if _content(place) != content:
                raise OSError("the file was not stored correctly")
        except OSError:
            _remove(place)  # it does not count, and may hold the last free space
            raise
        self.between_steps()
        _remove(other)
        self.between_steps()
        return self._read(slot) == content

    def _read(self, slot):
        """The content of a slot, or None when it is empty or damaged."""
        if self._folder is None:
            return None
        first, second = self._paths(slot)
        content = _content(second)
        return _content(first) if content is None else content

    def _keep(self, slot, content):
        if self._folder is None:
            return False
        try:
            return self._write(slot, content)
        except OSError:
            return False

    def save(self, slot, table):
        """Save a ready table; False if the file system fails."""
        return self._keep(slot, table.pack())

    def load(self, slot, table):
        """Replace the uploaded table by a slot's, not yet checked; False if empty or damaged."""
        data = self._read(slot)
        if data is None or len(data) < HEAD_SIZE:
            return False
        if not table.unpack(data):
            return False
        table.slot = slot
        return True

    def erase(self, slot):
        if self._folder is None:
            return False
        for path in self._paths(slot):  # .new last: a power loss must not bring older content back
            self.between_steps()
            _remove(path)
        self.between_steps()
        return self._read(slot) is None

    def digest(self, slot):
        """(digest, rows) of a slot, or None when it is empty or damaged."""
        data = self._read(slot)
        if data is None or len(data) < HEAD_SIZE:
            return None
        return data[:16], data[16] | data[17] << 8

    def choose(self, slot):
        """Choose the slot to load at every start, 0 for none; False if it is empty or damaged."""
        if slot and self.digest(slot) is None:
            return False
        return self._keep(_CHOICE, bytes([slot]))

    def save_constant(self, ticks):
        return self._keep(_CONSTANT, bytes([ticks]))

    def constant(self):
        """The edge constant that was measured on this board, or -1."""
        data = self._read(_CONSTANT)
        return data[0] if data else -1

    def chosen(self):
        data = self._read(_CHOICE)
        return data[0] if data and data[0] <= SLOTS else 0
