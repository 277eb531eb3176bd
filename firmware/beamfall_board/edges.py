"""Keeps the edges of what is running, as records of the wire in a buffer allocated once, and puts them into reports."""

import struct

from beamfall_board import wire_definition as wire

_SIZE = wire.SIZE_EDGE


class EdgeBuffer:
    def __init__(self, capacity, store):
        self._records = bytearray(_SIZE * capacity)
        self._view = memoryview(self._records)
        self._store = store
        self._payload = bytearray(wire.PAYLOAD_MAX)
        self.capacity = capacity
        self.clear()

    def clear(self):
        self.count = 0  # edges waiting here
        self.reported = 0
        self.lost = 0
        self.newest = 0  # time of the newest edge since the clear

    def add(self, signal, mark, ticks):
        at = self.count
        if at == self.capacity:
            self.lost += 1
            return
        struct.pack_into(wire.FORMAT_EDGE, self._records, _SIZE * at, signal, mark, ticks)
        self.newest = ticks
        self.count = at + 1

    def take_many(self, port, most):
        """Take up to `most` edges that wait in the port, all at once; return how many."""
        taken = port.take_edges(self._records, self.count, min(most, self.capacity - self.count))
        self.count += taken
        if taken:
            self.newest = self.ticks_of(self.count - 1)
        return taken

    def ticks_of(self, at):
        records = self._records
        at = _SIZE * at + 2
        return records[at] | records[at + 1] << 8 | records[at + 2] << 16 | records[at + 3] << 24

    def find_drop(self):
        """The first waiting edge after the tick count has wrapped; 0 if it has not."""
        if self.count and self.ticks_of(self.count - 1) < self.ticks_of(0):
            for at in range(1, self.count):
                if self.ticks_of(at) < self.ticks_of(at - 1):
                    return at
        return 0

    def report(self, activity, number, base, end=-1):
        """Turn waiting edges, all or the first `end`, into `edges` reports; their ticks are counted from `base`."""
        payload = self._payload
        view = self._view
        if end < 0:
            end = self.count
        at = 0
        while at < end:
            part = min(end - at, wire.EDGES_PER_REPORT)
            size = _SIZE * part
            struct.pack_into(wire.FORMAT_EDGES, payload, 0, activity, number, base)
            put = wire.FIXED_EDGES
            payload[put] = part
            put += 1
            payload[put : put + size] = view[_SIZE * at : _SIZE * at + size]
            self._store.add(wire.MSG_EDGES, payload, 0, put + size)
            at += part
        self.reported += end
        left = self.count - end
        if left:
            view[: _SIZE * left] = bytes(view[_SIZE * end : _SIZE * self.count])
        self.count = left
