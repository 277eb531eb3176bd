"""Chooses the openings of a shot around which a port measures coil current and supply voltage, and when it starts."""

from array import array

from beamfall_board import wire_definition as wire
from beamfall_board.limits import is_valve, us_to_ticks

OPENINGS = 4  # of one shot
READINGS = 54  # of one opening: as many as an answer has room for
SPACING_US = 300
BEFORE_US = 4000  # readings start this long before the opening: a main loop may be late


class Openings:
    """Planned when a table is loaded, so that nothing here allocates after the release."""

    def __init__(self, clock_hz):
        self.spacing = us_to_ticks(SPACING_US, clock_hz)
        self.length = READINGS * self.spacing
        self._before = us_to_ticks(BEFORE_US, clock_hz)
        self.starts = array("I", bytes(4 * OPENINGS))  # ticks since the release, ascending
        self.count = 0

    def plan(self, table):
        """Choose among the table's valve rows, which count from the release and are in order of time."""
        self.count = 0
        free = 0
        for row in range(table.rows):
            if not is_valve(table.output[row]) or table.anchor[row] != wire.ANCHOR_RELEASE:
                continue
            opens = table.delay[row]
            start = max(free, opens - self._before)
            if start <= opens and self.count < OPENINGS:  # otherwise earlier readings cover it
                self.starts[self.count] = start
                self.count += 1
                free = start + self.length
