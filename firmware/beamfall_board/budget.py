"""The limits that span shots and service actions: each valve's open time within the duty window, each flash's spacing,
each valve's gap. Integers only; arrays allocated once.
"""

from array import array

from beamfall_board import wire_definition as wire
from beamfall_board.limits import is_flash, is_valve, ms_to_ticks

MS_MASK = 0x3FFFFFFF
_PARTS = 40  # of a duty window
_VALVES = len(wire.KIND_VALVE)


class Budget:
    """The duty: in any window of DUTY_WINDOW_MS, wherever it starts, a valve may be open for at most its share.

    Each valve has a ring of parts, each a fortieth of a window, with the ticks that it was open in them. A window that
    starts in a part counts all of that part, so the wait may be up to one part too long, but never too short.
    Openings are recorded when their table has ended, at the latest time that they can have happened; a table about to
    start counts as starting now. A single table never opens a valve for more than the share (Limits).

    A rinse may be longer than the share; it starts only when no earlier opening can be in the same window.

    `open_time` keeps this over a restart with the supply on: `before_ms` is how long a valve may have been open shortly
    before this start, `keep(ms)` stores it for the next start. Every valve counts as open for that long right before
    the start. With None, nothing is remembered.
    """

    WINDOW_GRAIN_MS = 1  # two readings of a millisecond clock can differ by one too many

    def __init__(self, profile, clock_hz, now_ms, open_time=None):
        self._hz = clock_hz
        self._window_ms = profile.DUTY_WINDOW_MS
        self._most = ms_to_ticks(profile.DUTY_WINDOW_MS, clock_hz) * profile.DUTY_PERCENT // 100
        self._part_ms = (profile.DUTY_WINDOW_MS + _PARTS - 1) // _PARTS
        self._ring = _PARTS + 2
        self._open = []
        for _ in range(_VALVES):
            self._open.append(array("I", bytes(4 * self._ring)))
        self._newest = 0  # the current part
        self._into_ms = 0  # how much of it has passed
        self._at_ms = now_ms
        self._begun = False  # a table is running, and not yet recorded
        self._from_ms = 0  # the earliest and
        self._till_ms = -1  # the latest that its zero can be; -1: not known
        # One millisecond more than the limit, for the grain of the clock.
        self._flash_rest_ms = (profile.FLASH_GAP_US + 999) // 1000 + 1
        self._valve_rest_ms = (profile.VALVE_GAP_US + 999) // 1000 + 1
        self._used = bytearray(32)  # by output: 1 if used in this boot
        self._used_ms = [0] * 32
        self.wait_ms = 0
        self._open_time = open_time
        if open_time is not None:
            before = ms_to_ticks(open_time.before_ms, clock_hz)
            for valve in range(_VALVES):
                self._charge(valve, before, 0)

    # -- before --------------------------------------------------------------------------------------------------
    def take(self, table, now_ms):
        """Whether the table may start now; if not, `wait_ms` says how long to wait."""
        self._roll(now_ms)
        wait = 0
        for valve in range(_VALVES):
            wait = max(wait, self._duty_wait(table, valve))
        for row in range(table.rows):
            wait = max(wait, self._rest_ms(table.output[row], now_ms))
        self.wait_ms = wait
        return wait <= 0

    def _duty_wait(self, table, valve):
        """How long the table's openings of the valve must wait because of earlier ones.

        A window that starts in a part `back` parts ago contains the open time since (at most `before`), and as much of
        the table as fits after that. When the window's start moves through the part, its end moves too, so the end of
        the part counts.
        """
        ring = self._open[valve]
        before = 0
        for ticks in ring:
            before += ticks
        if not before:
            return 0
        output = wire.KIND_VALVE[valve]
        total = 0
        for row in range(table.rows):
            if table.output[row] == output:
                total += table.width[row]
        if not total:
            return 0
        wait = 0
        row = 0
        opened = 0  # ticks of the table's rows before `row`
        back = self._ring
        while back:
            back -= 1
            at = (self._newest - back) % self._ring
            if not ring[at]:
                continue
            left = self._most - before
            before -= ring[at]
            if left < 0 or total > self._most:
                left = 0  # a rinse, earlier or now: nothing else may be in its windows
            if total <= left:
                break  # true for all later windows too
            while table.output[row] != output or opened + table.width[row] <= left:
                if table.output[row] == output:
                    opened += table.width[row]
                row += 1
            free = table.delay[row] + left - opened  # up to here the table stays within the rest
            part_end = self._part_ms - self._into_ms - back * self._part_ms
            wait = max(
                wait, self._window_ms + self.WINDOW_GRAIN_MS + part_end - free * 1000 // self._hz
            )
        return wait

    def _rest_ms(self, output, now_ms):
        """How much longer an output must rest: a flash until it may fire, a valve until it may open."""
        if not self._used[output] or not (is_valve(output) or is_flash(output)):
            return 0
        rest = self._valve_rest_ms if is_valve(output) else self._flash_rest_ms
        passed = (now_ms - self._used_ms[output]) & MS_MASK
        if passed >= rest:
            self._used[output] = 0  # otherwise it would have to rest again when the clock wraps
            return 0
        return rest - passed

    # -- under way and after ---------------------------------------------------------------------------------------
    def begin(self, table, now_ms):
        """A table is about to start. If the board restarts before `ended`, the whole table counts."""
        self._keep(table)
        self._from_ms = now_ms
        self._till_ms = -1
        self._begun = True

    def started(self, now_ms):
        """The table has started."""
        self._till_ms = now_ms

    def ended(self, table, now_ms, late_ticks):
        """A table has stopped; its rows were up to `late_ticks` late. Its outputs rest from now on, as if they had only
        now gone off: the stamp of the real end may have been lost."""
        for row in range(table.rows):
            output = table.output[row]
            self._used[output] = 1
            self._used_ms[output] = now_ms
        if not self._begun:
            return
        self._roll(now_ms)
        # How long it ran, within the clock's resolution.
        longest = (now_ms - self._from_ms) & MS_MASK
        shortest = (now_ms - self._till_ms) & MS_MASK if self._till_ms >= 0 else 0
        for row in range(table.rows):
            if is_valve(table.output[row]):
                self._write_down(table, row, longest, shortest, late_ticks)
        self._begun = False
        self._keep(None)

    def _keep(self, table):
        """Store the longest open time of any valve for the next start, with all of `table`."""
        if self._open_time is None:
            return
        most = 0
        for valve in range(_VALVES):
            ticks = sum(self._open[valve])
            if table is not None:
                for row in range(table.rows):
                    if table.output[row] == wire.KIND_VALVE[valve]:
                        ticks += table.width[row]
            most = max(most, ticks)
        self._open_time.keep(most * 1000 // self._hz + 1 if most else 0)

    def _write_down(self, table, row, longest, shortest, late_ticks):
        """Record one opening, at the latest time that it can have happened."""
        delay_ms = table.delay[row] * 1000 // self._hz
        if delay_ms > longest:
            return  # stopped before it
        width = table.width[row] + late_ticks
        since_begin = ms_to_ticks(longest - delay_ms + 1, self._hz)
        end_ms = ((table.delay[row] + width) * 1000 + self._hz - 1) // self._hz
        age_ms = max(0, shortest - end_ms)
        self._charge(wire.KIND_VALVE.index(table.output[row]), min(width, since_begin), age_ms)

    def _charge(self, valve, ticks, age_ms):
        """Add `ticks` of opening that ended `age_ms` ago to the parts that contain them."""
        ring = self._open[valve]
        back = 0
        room_ms = self._into_ms - age_ms  # of the part in which it ended, before its end
        if room_ms <= 0:
            back = -room_ms // self._part_ms + 1
            room_ms += back * self._part_ms
        while ticks and back < self._ring:
            at = (self._newest - back) % self._ring
            here = min(ticks, ms_to_ticks(room_ms, self._hz))
            ring[at] += here
            ticks -= here
            back += 1
            room_ms = self._part_ms

    def _roll(self, now_ms):
        """Clear the parts that have started since; this drops those that no window reaches any more."""
        into = self._into_ms + ((now_ms - self._at_ms) & MS_MASK)
        self._at_ms = now_ms
        fresh = min(into // self._part_ms, self._ring)
        self._into_ms = into % self._part_ms
        for _ in range(fresh):
            self._newest = (self._newest + 1) % self._ring
            for ring in self._open:
                ring[self._newest] = 0
