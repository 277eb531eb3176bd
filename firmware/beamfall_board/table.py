"""The sequence table: received in parts, complete or not, identified by its digest. Allocated once."""

import hashlib
import struct
from array import array

from beamfall_board import wire_definition as wire

_ROW = wire.FORMAT_ROW
_BEGIN_DIGEST = 16  # the digest's length at the head of table_begin
HEAD_SIZE = wire.REQUESTS[wire.MSG_TABLE_BEGIN]


class Table:
    def __init__(self, capacity):
        self.capacity = capacity
        self.anchor = bytearray(capacity)
        self.count = bytearray(capacity)
        self.output = bytearray(capacity)
        self.delay = array("I", bytes(4 * capacity))
        self.width = array("I", bytes(4 * capacity))
        self._got = bytearray(capacity)
        self._packed = bytearray(wire.SIZE_ROW)
        self._head = bytearray(HEAD_SIZE)
        self.beam_edge = bytearray(2)
        self.awaits = bytearray(2)
        self.digest = bytes(_BEGIN_DIGEST)
        self.clear()

    def clear(self):
        self.state = wire.TABLE_EMPTY
        self.slot = 0  # the slot that it was loaded from
        self.rows = 0
        self.window = 0
        self.tail = 0
        self.blanking = 0
        self.dwell = 0
        self.digest = bytes(_BEGIN_DIGEST)

    def begin(self, body, start):
        """Begin a new table with its head (a table_begin payload at body[start:])."""
        self.clear()
        fields = struct.unpack_from(wire.FORMAT_TABLE_BEGIN, body, start)
        self.digest = fields[0]
        self.rows = fields[1]
        self.window, self.tail, self.blanking, self.dwell = fields[2:6]
        self.beam_edge[0] = fields[6]
        self.beam_edge[1] = fields[7]
        self.awaits[0] = fields[8]
        self.awaits[1] = fields[9]
        for i in range(self.capacity):
            self._got[i] = 0
        self.state = wire.TABLE_PARTIAL

    def put(self, index, body, at):
        """Set row `index` from its record at body[at:]."""
        anchor, count, output, _spare, delay, width = struct.unpack_from(_ROW, body, at)
        self.set_row(index, anchor, count, output, delay, width)

    def set_row(self, index, anchor, count, output, delay, width):
        self.anchor[index] = anchor
        self.count[index] = count
        self.output[index] = output
        self.delay[index] = delay
        self.width[index] = width
        self._got[index] = 1

    def first_missing(self):
        for i in range(self.rows):
            if not self._got[i]:
                return i
        return -1

    def _pack_head(self):
        """Write the head into `_head`, as it is in table_begin."""
        struct.pack_into(
            wire.FORMAT_TABLE_BEGIN, self._head, 0, bytes(self.digest), self.rows, self.window, self.tail,
            self.blanking, self.dwell, self.beam_edge[0], self.beam_edge[1], self.awaits[0], self.awaits[1],
        )  # fmt: skip

    def _pack_row(self, row, out, at):
        struct.pack_into(
            _ROW, out, at, self.anchor[row], self.count[row], self.output[row], 0, self.delay[row], self.width[row]
        )  # fmt: skip

    def digest_fits(self):
        """Whether the head and the rows received match the digest."""
        self._pack_head()
        hasher = hashlib.sha256(bytes(self._head[_BEGIN_DIGEST:]))
        packed = self._packed
        for i in range(self.rows):
            self._pack_row(i, packed, 0)
            hasher.update(packed)
        return hasher.digest()[:_BEGIN_DIGEST] == bytes(self.digest)

    def pack(self):
        """The whole table as bytes: its head as in table_begin, then its rows."""
        data = bytearray(HEAD_SIZE + self.rows * wire.SIZE_ROW)
        self._pack_head()
        data[:HEAD_SIZE] = self._head
        at = HEAD_SIZE
        for i in range(self.rows):
            self._pack_row(i, data, at)
            at += wire.SIZE_ROW
        return bytes(data)

    def unpack(self, data):
        """Read what `pack` made; False if it is not that. Then check the table like an upload."""
        rows = data[_BEGIN_DIGEST] | data[_BEGIN_DIGEST + 1] << 8
        if rows == 0 or rows > self.capacity or len(data) != HEAD_SIZE + rows * wire.SIZE_ROW:
            return False
        if data[HEAD_SIZE - 4] > 1 or data[HEAD_SIZE - 3] > 1:
            return False  # which edges are counted; for uploads the payload check covers this
        self.begin(data, 0)
        for i in range(rows):
            self.put(i, data, HEAD_SIZE + i * wire.SIZE_ROW)
        return True

    def make_single(self, output, width, delay, tail):
        """Make the table of a service action: one row at the release, no beam awaited."""
        self.clear()
        self.rows = 1
        self.tail = tail
        self.beam_edge[0] = wire.EDGE_DARK
        self.beam_edge[1] = wire.EDGE_DARK
        self.awaits[0] = 0
        self.awaits[1] = 0
        self.set_row(0, wire.ANCHOR_RELEASE, 0, output, delay, width)
        self.state = wire.TABLE_READY

    def last_release_ticks(self):
        """When the last row anchored at the release ends."""
        last = 0
        for i in range(self.rows):
            if self.anchor[i] == wire.ANCHOR_RELEASE:
                last = max(last, self.delay[i] + self.width[i])
        return last
