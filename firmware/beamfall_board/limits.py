"""The board's limits: those of its profile in ticks, and the check of a whole table.

Integers only. host/beamfall/setup/limits.py checks the same rules, for messages in words; the board
does not rely on that.
"""

from beamfall_board import wire_definition as wire


def is_valve(output):
    return output in wire.KIND_VALVE


def is_flash(output):
    return output in wire.KIND_FLASH


def us_to_ticks(us, clock_hz):
    return us * clock_hz // 1000000


def ms_to_ticks(ms, clock_hz):
    return ms * clock_hz // 1000


class Limits:
    """A profile's limits on this port's clock; `check` leaves a refusal's row and detail in its fault_ fields."""

    def __init__(self, profile, port):
        hz = port.clock_hz
        self.profile = profile
        self.clock_hz = hz
        self.outputs = 0
        for signal in profile.OUTPUTS:
            self.outputs |= 1 << signal
        self.inputs = 0
        for signal in profile.INPUTS:
            self.inputs |= 1 << signal
        self.rows_max = profile.ROWS_MAX
        self.valve_max = us_to_ticks(profile.VALVE_MAX_US, hz)
        self.valve_gap = us_to_ticks(profile.VALVE_GAP_US, hz)
        self.valve_sum_max = ms_to_ticks(profile.DUTY_WINDOW_MS, hz) * profile.DUTY_PERCENT // 100
        self.flash_max = us_to_ticks(profile.FLASH_MAX_US, hz)
        self.flash_gap = us_to_ticks(profile.FLASH_GAP_US, hz)
        self.camera_max = min(ms_to_ticks(profile.CAMERA_MAX_MS, hz), wire.HORIZON_TICKS)
        self.window_max = min(ms_to_ticks(profile.WINDOW_MAX_MS, hz), wire.HORIZON_TICKS)
        self.rinse_max_ms = profile.RINSE_MAX_MS
        self.earliest = port.earliest_ticks
        self.earliest_beam = port.earliest_beam_ticks
        self.fault_row = 0
        self.fault_detail = 0

    def has_output(self, output):
        return bool(self.outputs >> output & 1)

    def _fault(self, reason, row, detail):
        self.fault_row = row
        self.fault_detail = detail
        return reason

    def longest(self, output):
        if is_valve(output):
            return self.valve_max
        if is_flash(output):
            return self.flash_max
        return self.camera_max

    # -- the whole table ---------------------------------------------------------------------------------------
    def check(self, table):
        """0, or the first reason why this table must not run."""
        reason = self._check_head(table)
        row = 0
        while not reason and row < table.rows:
            reason = self._check_row(table, row)
            if not reason and row:
                reason = self._check_order(table, row)
            row += 1
        row = 0
        while not reason and row < table.rows:
            reason = self._check_against_earlier(table, row)
            row += 1
        return reason or self._check_duty(table)

    def _check_head(self, table):
        none = 65535
        if table.rows == 0 or table.rows > self.rows_max:
            return self._fault(wire.REFUSAL_TOO_MANY_ROWS, none, self.rows_max)
        if table.window > self.window_max:
            return self._fault(wire.REFUSAL_BEYOND_HORIZON, none, self.window_max)
        if table.tail > wire.HORIZON_TICKS - table.window or table.blanking > wire.HORIZON_TICKS:
            return self._fault(wire.REFUSAL_BEYOND_HORIZON, none, wire.HORIZON_TICKS)
        if table.dwell > wire.HORIZON_TICKS:
            return self._fault(wire.REFUSAL_BEYOND_HORIZON, none, wire.HORIZON_TICKS)
        awaited = table.awaits[0] + table.awaits[1]
        if (awaited == 0) != (table.window == 0):
            return self._fault(wire.REFUSAL_WINDOW_MISSING, none, 0)
        for beam in range(len(wire.KIND_BEAM)):
            if table.awaits[beam] and not self.inputs >> wire.KIND_BEAM[beam] & 1:
                return self._fault(wire.REFUSAL_BAD_ANCHOR, none, beam + 1)
        return 0

    def _check_row(self, table, row):
        output = table.output[row]
        anchor = table.anchor[row]
        delay = table.delay[row]
        width = table.width[row]
        if not self.has_output(output):
            return self._fault(wire.REFUSAL_BAD_OUTPUT, row, output)
        if anchor == wire.ANCHOR_RELEASE:
            if table.count[row]:
                return self._fault(wire.REFUSAL_BAD_ANCHOR, row, anchor)
            latest = wire.HORIZON_TICKS - table.tail
            earliest = self.earliest
        else:
            if anchor > wire.ANCHOR_BEAM2 or not table.count[row] or not is_flash(output):
                return self._fault(wire.REFUSAL_BAD_ANCHOR, row, anchor)
            if table.count[row] > table.awaits[anchor - wire.ANCHOR_BEAM1]:
                return self._fault(
                    wire.REFUSAL_WINDOW_MISSING, row, table.awaits[anchor - wire.ANCHOR_BEAM1]
                )
            latest = wire.HORIZON_TICKS - table.tail - table.window
            earliest = self.earliest_beam
        if width == 0:
            return self._fault(wire.REFUSAL_ZERO_WIDTH, row, 0)
        if width > self.longest(output):
            return self._fault(wire.REFUSAL_WIDTH_TOO_LONG, row, self.longest(output))
        if delay > latest or width > latest - delay:
            return self._fault(wire.REFUSAL_BEYOND_HORIZON, row, latest)
        if delay < earliest:
            return self._fault(wire.REFUSAL_TOO_EARLY, row, earliest)
        if anchor != wire.ANCHOR_RELEASE and delay < table.dwell:
            return self._fault(wire.REFUSAL_BEFORE_DWELL, row, table.dwell)
        return 0

    def _check_order(self, table, row):
        """Rows are in order of anchor, count, delay, output."""
        before = row - 1
        for column in (table.anchor, table.count, table.delay, table.output):
            if column[before] < column[row]:
                return 0
            if column[before] > column[row]:
                return self._fault(wire.REFUSAL_NOT_ORDERED, row, before)
        return self._fault(wire.REFUSAL_OVERLAP, row, 0)

    def _check_against_earlier(self, table, row):
        """A row against the nearest earlier row of its output: anchors agree, no overlap, gap and spacing kept."""
        output = table.output[row]
        other = row - 1
        while other >= 0 and table.output[other] != output:
            other -= 1
        if other < 0:
            return 0
        if table.anchor[other] != table.anchor[row]:
            return self._fault(wire.REFUSAL_BAD_ANCHOR, row, table.anchor[other])
        # Two counted edges of a beam are at least the blanking apart.
        between = (table.count[row] - table.count[other]) * table.blanking
        start_gap = between + table.delay[row] - table.delay[other]
        gap = start_gap - table.width[other]
        if is_flash(output) and start_gap < self.flash_gap:
            return self._fault(wire.REFUSAL_FLASH_SPACING, row, self.flash_gap)
        least = self.valve_gap if is_valve(output) else 1
        if gap < least:
            return self._fault(wire.REFUSAL_OVERLAP, row, least)
        return 0

    def _check_duty(self, table):
        for output in wire.KIND_VALVE:
            total = 0
            last = 0
            for row in range(table.rows):
                if table.output[row] == output:
                    total += table.width[row]
                    last = row
            if total > self.valve_sum_max:
                return self._fault(wire.REFUSAL_DUTY, last, self.valve_sum_max)
        return 0
