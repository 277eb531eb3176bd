"""Edges on their way from an interrupt to the main loop: allocated once, one writer, one reader."""

from array import array


class Ring:
    """Slots from `get` up to `put` are full. A writer fills slot `put` and then moves it; see `add`."""

    def __init__(self, size):
        self.size = size
        self.code = bytearray(size)  # signal << 2 | mark
        self.ticks = array("I", bytes(4 * size))
        self.clear()

    def clear(self):
        self.get = 0
        self.put = 0
        self.lost = 0

    def add(self, code, ticks):
        """Keep an edge, or count it as lost if there is no room. Allocates nothing."""
        at = self.put
        after = at + 1
        if after == self.size:
            after = 0
        if after == self.get:
            self.lost += 1
            return
        self.code[at] = code
        self.ticks[at] = ticks
        self.put = after

    def drop(self):
        """Give up the oldest edge, which has been taken."""
        after = self.get + 1
        self.get = 0 if after == self.size else after
