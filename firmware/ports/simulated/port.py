"""A port whose hardware is ideal and whose time is virtual.

The rows of the table are played exactly at their ticks and every edge is stamped exactly. Time passes only in
`idle`, through the channel, which stands for the rig at the pins: in the host's process under CPython
(host/beamfall/sim/embedded.py), at the other end of a socket under the MicroPython interpreter (channel.py).
A channel offers: `now` (ticks since power-up), `clock_hz`, `unique_id`, `light` (the status light), `entropy()`,
`can_read` and `read_coils` (see readings.py), `drive(signal, level)` (an output has changed now), `advance(until)` (let
time pass up to `until` or the first input edge, which is then in `edge_signal` and `edge_level`, else `edge_signal` is
0), `level(signal)`, `read_into`, `write`, `enter_maintenance()`.
"""

from array import array

from beamfall_board import wire_definition as wire
from beamfall_board.beams import Qualifier
from ports.simulated.readings import Readings

_WAITING = 0  # the row's anchor has not come
_AHEAD = 1  # the row will put its output on at `_time`
_ON = 2  # the row will put its output off at `_time`
_OVER = 3
_RING = 1024
_STAMPED_ON = 3
_STAMPED_OFF = 2
_NEVER = 1 << 60
_WATCH_MASK = 0x3FFFFFFF


class SimulatedPort:
    edge_constant_expected = 3
    edge_constant_max = 20

    def __init__(self, profile, channel):
        self.name = "simulated"
        self.timing = wire.TIMING_SIMULATED
        self.clock_hz = channel.clock_hz
        self.unique_id = channel.unique_id
        self.stamp_ticks = 1
        self.earliest_ticks = 125
        self.earliest_beam_ticks = 125
        self.fault_row = 0
        self.fault_detail = 0
        self.edges_lost = 0
        self.rows_late = 0
        self.worst_late = 0
        self.wake_ticks = -1
        self.edge_signal = 0
        self.edge_mark = 0
        self.edge_ticks = 0
        self.edge_constant = self.edge_constant_expected
        # How many ticks the simulated pins really take; a delay from a beam is off by twice the difference.
        self._true_constant = getattr(channel, "edge_constant", self.edge_constant_expected)
        self.readings = Readings(channel) if getattr(channel, "can_read", False) else None
        self._channel = channel
        self._hz = channel.clock_hz
        self._outputs = sorted(profile.OUTPUTS)
        self._level = bytearray(32)
        self._rows = profile.ROWS_MAX
        self._phase = bytearray(self._rows)
        self._time = array("q", bytes(8 * self._rows))
        self._table = None
        self._zero = 0
        self._running = False
        self._watching = False
        self._recorded = False  # readings are due at the end of what runs
        self._beams = (Qualifier(), Qualifier())
        self._ring_signal = bytearray(_RING)
        self._ring_mark = bytearray(_RING)
        self._ring_ticks = array("q", bytes(8 * _RING))
        self._get = 0
        self._waiting = 0

    def use_edge_constant(self, ticks):
        self.edge_constant = ticks

    # -- outputs -----------------------------------------------------------------------------------------------
    def outputs_off(self):
        self._running = False
        for signal in self._outputs:
            self._drive(signal, 0)

    def _drive(self, signal, level):
        if self._level[signal] != level:
            self._level[signal] = level
            self._channel.drive(signal, level)
            self._stamp(signal, _STAMPED_ON if level else _STAMPED_OFF)

    def _stamp(self, signal, mark):
        if self._waiting == _RING:
            self.edges_lost += 1
            return
        at = (self._get + self._waiting) % _RING
        self._ring_signal[at] = signal
        self._ring_mark[at] = mark
        self._ring_ticks[at] = self._channel.now - self._zero
        self._waiting += 1

    # -- a shot ------------------------------------------------------------------------------------------------
    def load(self, table):
        self._table = table
        if self.readings is not None:
            self.readings.plan(table)
        return 0

    def start(self):
        table = self._table
        self._begin_record()
        for row in range(table.rows):
            if table.anchor[row] == wire.ANCHOR_RELEASE:
                self._phase[row] = _AHEAD
                self._time[row] = self._zero + table.delay[row]
            else:
                self._phase[row] = _WAITING
        for which in range(2):
            self._beams[which].start(table.beam_edge[which], table.blanking, table.dwell)
        self._recorded = self.readings is not None
        if self._recorded:
            self.readings.begin()
        self._running = True

    def _begin_record(self):
        self._zero = self._channel.now
        self.edges_lost = 0
        self.rows_late = 0
        self.worst_late = 0
        self._waiting = 0

    def stop(self):
        self.outputs_off()
        self._watching = False
        if self._recorded:
            self._recorded = False
            self.readings.end(self._zero)

    def watch(self, on):
        self._watching = on
        if on:
            self._begin_record()

    def poll(self):
        return 0

    def next_edge(self):
        if not self._waiting:
            return False
        at = self._get
        self.edge_signal = self._ring_signal[at]
        self.edge_mark = self._ring_mark[at]
        ticks = self._ring_ticks[at]
        self.edge_ticks = ticks & _WATCH_MASK if self._watching else ticks
        self._get = (at + 1) % _RING
        self._waiting -= 1
        return True

    def rows_done(self):
        for row in range(self._table.rows):
            if self._phase[row] == _AHEAD or self._phase[row] == _ON:
                return False
        return True

    def now_ticks(self):
        ticks = self._channel.now - self._zero
        return ticks & _WATCH_MASK if self._watching else ticks

    def beam_dark(self, beam):
        return self._channel.level(wire.KIND_BEAM[beam - 1]) != 0

    # -- time --------------------------------------------------------------------------------------------------
    def idle(self, ms):
        """Let time pass until the next event of the rows, the next edge, the wake time, or at most `ms`."""
        channel = self._channel
        until = channel.now + ms * self._hz // 1000
        row = -1
        if self.wake_ticks >= 0:
            until = min(until, max(channel.now, self._zero + self.wake_ticks))
        if self._running:
            row = self._next_row()
            if row >= 0:
                until = min(until, self._time[row])
            for beam in self._beams:
                if beam.pending:
                    until = min(until, self._zero + beam.settles)
        reached = channel.advance(until)
        if channel.edge_signal:
            self._input(channel.edge_signal, channel.edge_level)
        if self._running:
            for which in range(2):
                beam = self._beams[which]
                if beam.settle(reached - self._zero):
                    self._anchor(which, beam)
            if row >= 0 and self._time[row] <= reached:
                self._play(row)

    def _next_row(self):
        """The row whose next event comes first; an output goes off before another goes on."""
        best = -1
        when = _NEVER
        phase = self._phase
        time = self._time
        for row in range(self._table.rows):
            state = phase[row]
            if (state == _AHEAD or state == _ON) and (
                time[row] < when or (time[row] == when and state == _ON)
            ):
                best = row
                when = time[row]
        return best

    def _play(self, row):
        table = self._table
        if self._phase[row] == _AHEAD:
            self._phase[row] = _ON
            self._time[row] += table.width[row]
            self._drive(table.output[row], 1)
        else:
            self._phase[row] = _OVER
            self._drive(table.output[row], 0)

    def _input(self, signal, level):
        if self._running or self._watching:
            self._stamp(signal, _STAMPED_ON if level else _STAMPED_OFF)
        if self._running and signal in wire.KIND_BEAM:
            which = wire.KIND_BEAM.index(signal)
            if self._beams[which].feed(level, self._channel.now - self._zero):
                self._anchor(which, self._beams[which])

    def _anchor(self, which, beam):
        """A counted edge: rows anchored to it get their time, counted from the edge itself."""
        table = self._table
        for row in range(table.rows):
            if table.anchor[row] == wire.ANCHOR_BEAM1 + which and table.count[row] == beam.count:
                self._phase[row] = _AHEAD
                error = 2 * (self._true_constant - self.edge_constant)
                self._time[row] = self._zero + beam.ticks + table.delay[row] + error

    def button_down(self):
        return self._channel.level(wire.SIGNAL_BUTTON1) != 0

    def set_light(self, on):
        self._channel.light = on

    def enter_maintenance(self):
        self._channel.enter_maintenance()

    # -- the rest ----------------------------------------------------------------------------------------------
    def millis(self):
        return self._channel.now // (self._hz // 1000) & 0x3FFFFFFF

    def read_into(self, buffer):
        return self._channel.read_into(buffer)

    def write(self, data, length):
        return self._channel.write(data, length)

    def boot_entropy(self):
        return self._channel.entropy()

    def feed_watchdog(self):
        pass
