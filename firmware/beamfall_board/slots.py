"""Sequences kept on the board: a power loss in the middle of a change leaves the old one or the new one, whole.

A slot has two places, `slot1.bin` and `slot1.new`, and a content is written into the one that is not in use. Which one
counts follows from what is whole: a whole `.new` goes before a whole `.bin`. So writing `.new` to its end is the moment
the new content counts; and when `.new` is the one in use, the new content goes into `.bin`, and removing `.new` is that
moment. No file that counts is ever written to, and none is renamed: on a FAT file system renaming onto a file is
removing it, then renaming, and a power loss in between would leave neither under its name.

A file is: mark (2 bytes), table_begin payload, row records, first 4 bytes of SHA-256 over all that. Slots are
numbered from 1. Which one the board loads at its start stands in files of its own, written the same way.
"""

import hashlib
import os

from beamfall_board import wire_definition as wire

SLOTS = 8
_MARK = b"B1"
_CHECK = 4
_CHOICE = 0  # the files that say which slot is loaded at the start


def _do_nothing():
    pass


def _content(path):
    """What a file keeps, or None when there is none or it is not whole."""
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
        self._folder = folder  # where the files lie; None: nothing can be kept
        # Called between the steps of a write, each of which may erase flash (a second or so on an STM32): what feeds
        # the watchdog, which would not wait for all of them. Nothing is under way then, requests.py sees to it.
        self.between_steps = _do_nothing

    def _paths(self, slot):
        stem = "%s/slot%d" % (self._folder, slot)
        return stem + ".bin", stem + ".new"

    def available(self):
        return self._folder is not None

    def _write(self, slot, content):
        """Whether the slot now keeps `content`; OSError or False when the file system did not take it."""
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
                raise OSError("what was written does not read back")
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
        """Keep a ready table; False when the file system does not take it."""
        return self._keep(slot, table.pack())

    def load(self, slot, table):
        """Put a slot's table in the place of the one uploaded, not yet checked; False: empty or damaged."""
        data = self._read(slot)
        if data is None or len(data) < wire.FIXED_TABLE_BEGIN:
            return False
        return table.unpack(data)

    def erase(self, slot):
        if self._folder is None:
            return False
        for path in self._paths(slot):  # in this order: what counts never gives way to an older one
            self.between_steps()
            _remove(path)
        self.between_steps()
        return self._read(slot) is None

    def digest(self, slot):
        """(digest, rows) of a slot, or None when it is empty or damaged."""
        data = self._read(slot)
        if data is None or len(data) < wire.FIXED_TABLE_BEGIN:
            return None
        return data[:16], data[16] | data[17] << 8

    def choose(self, slot):
        """Have that slot loaded at every start, 0: none; False when it is empty or damaged."""
        if slot and self.digest(slot) is None:
            return False
        return self._keep(_CHOICE, bytes([slot]))

    def chosen(self):
        data = self._read(_CHOICE)
        return data[0] if data and data[0] <= SLOTS else 0
