"""The port for any board with MicroPython's `machine`: interrupts stamp the edges, an alarm plays the rows.

The clock is time.ticks_us: 1 MHz on every board, good for 2^30 us. The finer time.ticks_cpu is not used: it counts
2^30 cycles of the processor, 4.5 s at 240 MHz, and some boards stop or change it. Python runs between beam and flash
here, so its lateness is measured at every output edge and goes into the record: see `rows_late` and `worst_late`.

What the port expects of a profile besides pins and limits, all in microseconds:
    EARLIEST_US        the earliest row at the release
    EARLIEST_BEAM_US   the earliest row at a beam (for both: later if the rehearsal says so)
    LATE_US            an edge later than this counts as late
    ENTRY_US           the shortest time from an edge to the first instruction of its interrupt
    DRIVE_US           from the end of the wait to the moment when the pin moves
"""

import gc
import hashlib
import os
import time

import machine

from beamfall_board import wire_definition as wire
from beamfall_board.wire_definition import const
from ports import maintenance
from ports.generic.alarm import Alarm
from ports.generic.inputs import Input, open_input
from ports.generic.player import Player
from ports.generic.ring import Ring

_MASK = const(0x3FFFFFFF)
_LONGEST_TICKS = const(0x1FFFFFFF)  # half of what the clock of microseconds counts before it wraps
_CLOCK_HZ = 1000000
_RING = 512  # edges of the inputs; the main loop takes them every few milliseconds
_NAP_MS = 2  # longest sleep while edges may come
_LOOK_MS = 100  # longest sleep otherwise: the status light's rhythm
_MARK = const(3)
_NO_ROW = 65535
_DWELL_MAX = _LONGEST_TICKS // 2  # so that an edge's time and a dwell together are a small integer

POLL_OVERRUN = 1
POLL_FAILURE = 2
POLL_LATE = 4


class Port:
    # No constant: the lateness is measured in every shot instead.
    edge_constant = edge_constant_expected = edge_constant_max = 0
    readings = None  # it measures no current and no voltage: README.md
    name = "generic"
    timing = wire.TIMING_INTERRUPT
    clock_hz = _CLOCK_HZ
    stamp_ticks = 1

    def __init__(self, profile, console):
        self.profile = profile
        self.unique_id = _eight_bytes(machine.unique_id())
        self.fault_row = 0
        self.fault_detail = 0
        self.wake_ticks = -1
        self.edge_signal = 0
        self.edge_mark = 0
        self.edge_ticks = 0
        self._console = console
        self._table = None
        self._watchdog = None
        self._in = Ring(_RING)
        self._out = Ring(2 * profile.ROWS_MAX + 2 * len(profile.OUTPUTS) + 1)
        self._rings = (self._in, self._out)
        self._player = player = Player(profile, self._out)
        self._hold = profile.ENTRY_US  # an input's stamp may come this much after an output's
        self._inputs = []
        beams = [None, None]
        for signal in wire.KIND_BEAM + wire.KIND_LIGHT:
            if signal in profile.INPUTS:
                beam = wire.KIND_BEAM.index(signal) if signal in wire.KIND_BEAM else -1
                line = Input(
                    player, self._in, signal, profile.INPUTS[signal], beam, profile.ENTRY_US
                )
                self._inputs.append(line)
                if beam >= 0:
                    beams[beam] = line
        self._beams = tuple(beams)
        self._button = None
        if wire.SIGNAL_BUTTON1 in profile.INPUTS:
            self._button = open_input(profile.INPUTS[wire.SIGNAL_BUTTON1])
            self._button_on = 1 if profile.INPUTS[wire.SIGNAL_BUTTON1][1] else 0
        self._light = None
        if profile.LED is not None:
            pin, self._light_high = profile.LED
            self._light = machine.Pin(pin, machine.Pin.OUT, value=0 if self._light_high else 1)
        self._alarm = Alarm(player.serve)
        player.connect(self._alarm, self._beams)
        # While the player waits for one row, no other may be due, except for prepared rows at a beam.
        self.earliest_ticks = max(profile.EARLIEST_US, player.served_us)
        ready_us = player.ready_us + profile.ENTRY_US if self.hard_pins else player.served_us
        self.earliest_beam_ticks = max(profile.EARLIEST_BEAM_US, ready_us)
        player.served_us = max(player.served_us, self.earliest_beam_ticks)

    # -- what the board turned out to have ---------------------------------------------------------------------
    @property
    def hard_pins(self):
        """Whether every pin interrupt runs at once, also during a garbage collection."""
        return all([line.hard for line in self._inputs])

    @property
    def hard_alarm(self):
        return self._alarm.hard

    @property
    def fine_alarm(self):
        return self._alarm.fine

    @property
    def rescued(self):
        """Events since start() that the main loop had to play because no alarm did."""
        return self._player.rescued

    # -- outputs -----------------------------------------------------------------------------------------------
    def outputs_off(self):
        self._player.outputs_off()

    # -- a table -----------------------------------------------------------------------------------------------
    def load(self, table):
        """Take a table. Return 0, or a refusal's reason with fault_row and fault_detail. No pin moves."""
        self._table = None
        if table.dwell > _DWELL_MAX:
            return self._fault(wire.REFUSAL_BEYOND_HORIZON, _NO_ROW, _DWELL_MAX)
        for row in range(table.rows):
            end = table.delay[row] + table.width[row] + table.tail
            if table.anchor[row] != wire.ANCHOR_RELEASE:
                end += table.window
                earliest = table.dwell + self._player.served_us
                if table.delay[row] < earliest and (table.dwell or not self._is_first(table, row)):
                    return self._fault(wire.REFUSAL_TOO_EARLY, row, earliest)
            if end > _LONGEST_TICKS:
                return self._fault(wire.REFUSAL_BEYOND_HORIZON, row, _LONGEST_TICKS)
        self._player.tracks.load(table)
        self._table = table
        return 0

    def _is_first(self, table, row):
        """Whether no row follows the same edge earlier: only rows with one delay can be prepared."""
        for other in range(table.rows):
            if (
                table.anchor[other] == table.anchor[row]
                and table.count[other] == table.count[row]
                and table.delay[other] < table.delay[row]
            ):
                return False
        return True

    def _fault(self, reason, row, detail):
        self.fault_row = row
        self.fault_detail = detail
        return reason

    # -- a shot ------------------------------------------------------------------------------------------------
    def start(self):
        """The release. Garbage is collected first, so that no collection is due for some time after it."""
        self._begin()
        self._player.start(self._table)

    def watch(self, on):
        if on:
            self._begin()
            self._player.watch()
        else:
            self.stop()

    def _begin(self):
        self.stop()
        self._player.recording = False
        gc.collect()
        self._in.clear()
        self._out.clear()
        self._player.clear_counters()
        for line in self._inputs:
            line.on()

    def stop(self):
        """End what runs, for whatever reason. Stamps taken so far can still be read."""
        self._player.stop()
        for line in self._inputs:
            line.off()
        self._player.recording = False

    # -- while it runs -----------------------------------------------------------------------------------------
    @property
    def edges_lost(self):
        return self._in.lost + self._out.lost

    @property
    def rows_late(self):
        return self._player.rows_late

    @property
    def worst_late(self):
        return self._player.worst_late

    def poll(self):
        player = self._player
        player.rescue()
        flags = POLL_LATE if player.rows_late else 0
        if player.skipped:
            flags |= POLL_OVERRUN
        if player.failed:
            flags |= POLL_FAILURE
        return flags

    def _next_ring(self):
        """The ring whose head is older; None if both are empty, or if a stamp older than the head may still come."""
        read, write = self._in, self._out
        if write.get == write.put:
            return None if read.get == read.put else read
        if read.get != read.put and read.ticks[read.get] <= write.ticks[write.get]:
            return read
        if self._player.recording and self._player.now() - write.ticks[write.get] <= self._hold:
            return None
        return write

    def next_edge(self):
        ring = self._next_ring()
        if ring is None:
            return False
        at = ring.get
        code = ring.code[at]
        self.edge_signal = code >> 2
        self.edge_mark = code & _MARK
        self.edge_ticks = ring.ticks[at]
        ring.drop()
        return True

    def rows_done(self):
        return self._player.rows_done()

    def now_ticks(self):
        """Ticks since the zero, but never beyond an edge that next_edge has not yet returned."""
        now = self._player.now()
        if self._player.recording:
            for ring in self._rings:
                if (
                    ring.get != ring.put
                    and not self._player.watching
                    and ring.ticks[ring.get] < now
                ):
                    now = ring.ticks[ring.get]
        return now

    def beam_dark(self, beam):
        line = self._beams[beam - 1]
        return line is not None and line.read() == 1

    # -- the rest ----------------------------------------------------------------------------------------------
    def button_down(self):
        return self._button is not None and self._button() == self._button_on

    def set_light(self, on):
        if self._light is not None:
            self._light(1 if bool(on) == bool(self._light_high) else 0)

    def read_into(self, buffer):
        return self._console.read_into(buffer)

    def write(self, buffer, length):
        return self._console.write(buffer, length)

    def millis(self):
        return time.ticks_ms() & _MASK

    def idle(self, ms):
        """Sleep until a byte comes, at most `ms`. While a shot or watch runs, take only a nap, and wake exactly at
        `wake_ticks` if that is near."""
        ms = min(ms, _LOOK_MS)
        if self._player.recording:
            ms = min(ms, _NAP_MS)
            if self._in.get != self._in.put:
                return
            if self.wake_ticks >= 0 and not self._player.watching:
                left_us = self.wake_ticks - self._player.now()
                if left_us < 1000 * ms:
                    if left_us > 0:
                        time.sleep_us(left_us)
                    return
        self._console.wait(ms)

    def boot_entropy(self):
        try:
            return os.urandom(4)
        except (AttributeError, OSError):  # a board without a random generator
            return hashlib.sha256(machine.unique_id() + str(time.ticks_us()).encode()).digest()[:4]

    def start_watchdog(self, timeout_ms):
        """Start the watchdog; from here on feed_watchdog must be called in time."""
        self._watchdog = machine.WDT(timeout=timeout_ms)

    def feed_watchdog(self):
        if self._watchdog is not None:
            self._watchdog.feed()

    def enter_maintenance(self):
        """Restart without main loop and watchdog; this does not return. See ports/maintenance.py."""
        maintenance.ask_for()
        time.sleep_ms(_LOOK_MS)  # for the answer to leave
        machine.reset()


def _eight_bytes(identity):
    """Make a unique id of 8 bytes from the chip's own: 6 bytes on an ESP32, 12 on an STM32, 16 on a SAMD."""
    return identity if len(identity) == 8 else hashlib.sha256(identity).digest()[:8]
