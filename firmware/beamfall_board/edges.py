"""The edges of the shot under way, kept in arrays allocated once, and their way into reports."""

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

    def report(self, activity, number, base):
        """Turn all waiting edges into `edges` reports; their ticks are counted from `base`."""
        payload = self._payload
        at = 0
        while at < self.count:
            part = min(self.count - at, wire.EDGES_PER_REPORT)
            struct.pack_into(wire.FORMAT_EDGES, payload, 0, activity, number, base)
            put = wire.FIXED_EDGES
            payload[put] = part
            put += 1
            for _ in range(part):
                struct.pack_into(
                    wire.FORMAT_EDGE,
                    payload,
                    put,
                    self._signal[at],
                    self._mark[at],
                    self._ticks[at],
                )
                put += wire.SIZE_EDGE
                at += 1
            self._store.add(wire.MSG_EDGES, payload, 0, put)
        self.reported += self.count
        self.count = 0
