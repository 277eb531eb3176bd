"""Counts beam edges, with two guards against chatter and satellites. Integers only.

Blanking: after a counted edge, further edges of that beam are not counted for a while; it adds no delay.
Dwell: an edge counts only if the beam then stays that way for this long; delays still run from the edge itself.
"""


class Qualifier:
    def __init__(self):
        self.count = 0  # counted edges
        self.ticks = 0  # when the newest counted edge was
        self.ignored = 0  # edges of the counted kind that did not count because of the guards
        self.pending = False  # an edge waits for its dwell to pass
        self.settles = 0  # when the dwell ends
        self._level = 1
        self.blanking = 0
        self._dwell = 0
        self._edge = 0

    def start(self, level, blanking, dwell):
        """Count edges to `level` (1: dark, 0: clear) from now on."""
        self.count = 0
        self.ticks = 0
        self.ignored = 0
        self.pending = False
        self._level = level
        self.blanking = blanking
        self._dwell = dwell

    def feed(self, level, ticks):
        """One edge of the beam at that time; True when an edge has been counted."""
        counted = self.settle(ticks)
        if level != self._level:
            if self.pending:
                self.pending = False
                self.ignored += 1
            return counted
        if self.count and ticks - self.ticks < self.blanking:
            self.ignored += 1
            return counted
        self._edge = ticks
        if self._dwell:
            self.pending = True
            self.settles = ticks + self._dwell
            return counted
        self.count += 1
        self.ticks = ticks
        return True

    def settle(self, now):
        """Note that it is now `now`; True if an edge that waited for its dwell counts by then."""
        if self.pending and now >= self.settles:
            self.pending = False
            self.count += 1
            self.ticks = self._edge
            return True
        return False
