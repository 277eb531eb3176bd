"""The edges of the running shot, in arrays allocated once, and how they get into reports."""

import struct
from array import array

from beamfall_board import wire_definition as wire


class EdgeBuffer:
    def __init__(self, capacity, store):
        self._signal = bytearray(capacity)
        self._mark = bytearray(capacity)
        self._ticks = array("I", bytes(4 * capacity))
        self._store = store
        self._payload = bytearray(wire.PAYLOAD_MAX)
        self.capacity = capacity
        self.clear()

    def clear(self):
        self.count = 0  # edges waiting here
        self.reported = 0
        self.lost = 0

    def add(self, signal, mark, ticks):
        at = self.count
        if at == self.capacity:
            self.lost += 1
            return
        self._signal[at] = signal
        self._mark[at] = mark
        self._ticks[at] = ticks
        self.count = at + 1

    def take_many(self, port):
        """Take all edges that wait in the port, straight into the arrays if it can; return how many."""
        taken = port.take_edges(
            self._signal, self._mark, self._ticks, self.count, self.capacity - self.count
        )
        self.count += taken
        return taken

    def ticks_of(self, at):
        return self._ticks[at]

    def newest(self):
        """Time of the newest waiting edge; 0: none waits."""
        return self._ticks[self.count - 1] if self.count else 0

    def find_drop(self):
        """Where the tick count wraps among the waiting edges; 0 if it does not."""
        if self.count and self._ticks[self.count - 1] < self._ticks[0]:
            for at in range(1, self.count):
                if self._ticks[at] < self._ticks[at - 1]:
                    return at
        return 0

    def report(self, activity, number, base, end=-1):
        """Turn waiting edges, all or the first `end`, into `edges` reports; their ticks are counted from `base`."""
        payload = self._payload
        signal = self._signal
        mark = self._mark
        ticks = self._ticks
        if end < 0:
            end = self.count
        at = 0
        while at < end:
            part = min(end - at, wire.EDGES_PER_REPORT)
            struct.pack_into(wire.FORMAT_EDGES, payload, 0, activity, number, base)
            put = wire.FIXED_EDGES
            payload[put] = part
            put += 1
            for _ in range(part):
                struct.pack_into(wire.FORMAT_EDGE, payload, put, signal[at], mark[at], ticks[at])
                put += wire.SIZE_EDGE
                at += 1
            self._store.add(wire.MSG_EDGES, payload, 0, put)
        self.reported += end
        for left in range(self.count - end):
            signal[left] = signal[end + left]
            mark[left] = mark[end + left]
            ticks[left] = ticks[end + left]
        self.count -= end
