"""Sequences kept on the board: one file a slot, written new and then renamed, so that a power loss leaves old or new.

A file is: mark (2 bytes), table_begin payload, row records, first 4 bytes of SHA-256 over all that. Slots are
numbered from 1. Which one the board loads at its start stands in a file of its own, written the same way.
"""

import hashlib
import os

from beamfall_board import wire_definition as wire

SLOTS = 8
_MARK = b"B1"
_CHECK = 4
_CHOICE = 0  # the file that says which slot is loaded at the start
_NEW = ".new"


class Slots:
    def __init__(self, folder):
        self._folder = folder  # where the files lie; None: nothing can be kept

    def _path(self, slot):
        return "%s/slot%d.bin" % (self._folder, slot)

    def available(self):
        return self._folder is not None

    def _write(self, slot, data):
        path = self._path(slot)
        data = _MARK + data
        data += hashlib.sha256(data).digest()[:_CHECK]
        try:
            os.stat(self._folder)
        except OSError:
            os.mkdir(self._folder)
        with open(path + _NEW, "wb") as file:
            file.write(data)
        os.rename(path + _NEW, path)

    def _read(self, slot):
        """The content of a slot, or None when it is empty or damaged."""
        if self._folder is None:
            return None
        try:
            with open(self._path(slot), "rb") as file:
                data = file.read()
        except OSError:
            return None
        body = data[:-_CHECK]
        if body[:2] != _MARK or hashlib.sha256(body).digest()[:_CHECK] != data[-_CHECK:]:
            return None
        return body[2:]

    def save(self, slot, table):
        """Keep a ready table; False when the file system does not take it."""
        if self._folder is None:
            return False
        try:
            self._write(slot, table.pack())
            return True
        except OSError:
            return False

    def load(self, slot, table):
        """Put a slot's table in the place of the one uploaded, not yet checked; False: empty or damaged."""
        data = self._read(slot)
        if data is None or len(data) < wire.FIXED_TABLE_BEGIN:
            return False
        return table.unpack(data)

    def erase(self, slot):
        if self._folder is None:
            return False
        try:
            os.remove(self._path(slot))
        except OSError:
            pass  # empty already
        return self._read(slot) is None

    def digest(self, slot):
        """(digest, rows) of a slot, or None when it is empty or damaged."""
        data = self._read(slot)
        if data is None or len(data) < wire.FIXED_TABLE_BEGIN:
            return None
        return data[:16], data[16] | data[17] << 8

    def choose(self, slot):
        """Have that slot loaded at every start; 0: none."""
        if self._folder is None:
            return False
        try:
            self._write(_CHOICE, bytes([slot]))
            return True
        except OSError:
            return False

    def chosen(self):
        data = self._read(_CHOICE)
        return data[0] if data and data[0] <= SLOTS else 0
