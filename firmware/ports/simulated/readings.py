"""What a simulated board measures of its valves' supply: the rig at the channel's other end works it out.

The same object as the rp2 port's, see ports/README.md. A channel with `can_read` offers `read_coils(start, spacing,
count)`: pairs of mA and mV, `start` in ticks since power-up.
"""

from beamfall_board.readings import OPENINGS, READINGS, Openings


class Readings:
    most = OPENINGS

    def __init__(self, channel):
        self._channel = channel
        self._openings = Openings(channel.clock_hz)
        self.spacing = self._openings.spacing
        self._pairs = [()] * OPENINGS
        self.parts = 0

    def plan(self, table):
        self._openings.plan(table)

    def begin(self):
        self.parts = 0

    def end(self, zero):
        """The record is over: read what has been since `zero`, its release."""
        now = self._channel.now - zero
        for part in range(self._openings.count):
            start = self._openings.starts[part]
            count = min(READINGS, (now - start) // self.spacing)
            if count > 0:
                self._pairs[part] = self._channel.read_coils(zero + start, self.spacing, count)
                self.parts = part + 1

    def start(self, part):
        return self._openings.starts[part]

    def count(self, part):
        return len(self._pairs[part])

    def current_ma(self, part, at):
        return self._pairs[part][at][0]

    def supply_mv(self, part, at):
        return self._pairs[part][at][1]
