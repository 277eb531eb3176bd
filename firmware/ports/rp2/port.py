"""The port for RP2040 and RP2350. From the release to the end of a shot, no Python runs between beam and outputs.

PIO block 0: machine 0 plays the timeline (valves, camera), machines 1 to 3 follow an anchor (flashes 1 to 3).
PIO block 1: machine 0 stamps every edge and raises the zero, machines 1 and 2 qualify the edges of the beams.
README.md has the budget, the cycles and a timing diagram.
"""

import os
import time

import machine
from machine import mem32

from beamfall_board import wire_definition as wire
from ports import maintenance, rp2_chip
from ports.console import Console
from ports.rp2 import memory, programs, schedule
from ports.rp2 import registers as reg
from ports.rp2.block import Block
from ports.rp2.pins import TIMELINE_SIGNALS, Pins
from ports.rp2.stamps import MARK, TICKS, Stamps, take

POLL_OVERRUN = 1
POLL_FAILURE = 2

_TIMELINE = 0
_FLASH1 = 1
_STAMPER = 0
_BEAM1 = 1
_FOLLOWER_ORIGIN = 4
_QUALIFIER_ORIGIN = 12
_COUNT_MAX = 255
_TICKS_MASK = 0x3FFFFFFF
_NAP_MS = 2  # longest sleep while edges may come: 100 edges at 50 kHz, a fifth of the ring
_LOOK_MS = 50  # longest sleep at all: the button and the light need the main loop
_DONE_US = 2  # added to the timeline's end, because the clock counts whole microseconds


class Port:
    name = "rp2"
    timing = wire.TIMING_HARDWARE
    stamp_ticks = programs.STAMPER_ROUND
    # Cycles that a change takes from one block's output through a pin to the other block: an output register and the
    # two flip-flops of an input (programs.SYNC). `board measure` finds what a chip really takes.
    edge_constant_expected = programs.SYNC + 1
    edge_constant_max = 6  # more would need later earliest rows
    earliest_ticks = 16
    earliest_beam_ticks = 24

    def __init__(self, profile, sync=programs.SYNC):
        self.profile = profile
        self.clock_hz = machine.freq()
        if self.clock_hz % 1000000:
            raise ValueError(
                "the system clock must be a whole number of MHz, not %d Hz" % self.clock_hz
            )
        self._ticks_per_us = self.clock_hz // 1000000
        self.unique_id = machine.unique_id()
        self.fault_row = 0
        self.fault_detail = 0
        self.edges_lost = 0
        self.rows_late = 0  # rows are driven by hardware: never late, see the class of timing
        self.worst_late = 0
        self.edge_signal = 0
        self.edge_mark = 0
        self.edge_ticks = 0
        self.wake_ticks = -1
        self._running = False
        self._watching = False
        self._start_trouble = 0
        self._table = None
        self._zero_us = 0
        self._last_us = 0
        self._now = 0
        self._console = Console(rp2_chip.usb_room)
        self._watchdog = None
        self._light = None
        self._light_high = True
        if profile.LED is not None:
            pin, self._light_high = profile.LED
            self._light = machine.Pin(pin, machine.Pin.OUT, value=not self._light_high)
        self._pins = Pins(profile)
        self._players = Block(0)
        self._watchers = Block(1)
        self._players.stop()
        self._watchers.stop()
        self._pins.outputs_off()
        self._stamps = Stamps(self._watchers, _STAMPER, sync)  # the others use what its ring leaves
        self._set_up_players(sync)
        self._set_up_watchers()
        self._used_players = 0
        self._used_watchers = 0
        self._dwells = 0
        self.edge_constant = sync + 1
        self._readings = None
        self._may_measure = True

    @property
    def readings(self):
        """Made at the first request, so that a board answers sooner after power-up."""
        if self._may_measure:
            self._may_measure = False
            from ports.rp2.analogue import find_analogue

            self._readings = find_analogue(self.profile, self.clock_hz, self._pins.chip)
        return self._readings

    def use_edge_constant(self, ticks):
        """Use this constant from the next `load` and `start` on."""
        self.edge_constant = ticks
        self._timeline.sync = ticks - 1
        for follower in self._followers.values():
            follower.sync = ticks - 1
        self._stamps.use_sync(ticks - 1)

    # -- once --------------------------------------------------------------------------------------------------
    def _set_up_players(self, sync):
        block = self._players
        pins = self._pins
        rows_max = self.profile.ROWS_MAX
        block.write_program(programs.TIMELINE, 0, pins.zero, 0)
        block.write_program(programs.FOLLOWER, _FOLLOWER_ORIGIN, 0, 0)
        base = pins.timeline_base
        count = programs.TIMELINE_PINS
        block.set_up(
            _TIMELINE, programs.TIMELINE, 0, 0, True, count << 26 | count << 20 | base << 5 | base
        )
        spread = 8 * 2 + schedule.SENTINELS + 1  # entries that only keep a pattern
        capacity = 2 * rows_max + spread
        self._timeline = schedule.Timeline(rows_max, _allocate_words(capacity), sync)
        self._followers = {}  # by machine
        room = _COUNT_MAX + 1 + 3 * rows_max  # a word an edge, three a row, one at the end
        for i in range(3):
            signal = wire.KIND_FLASH[i]
            if signal in self.profile.OUTPUTS:
                pin = self.profile.OUTPUTS[signal][0]
                block.set_up(
                    _FLASH1 + i,
                    programs.FOLLOWER,
                    _FOLLOWER_ORIGIN,
                    programs.FOLLOWER_REST,
                    True,
                    1 << 26 | pin << 5,
                )
                self._followers[_FLASH1 + i] = schedule.Follower(
                    _allocate_words(room), _FOLLOWER_ORIGIN, sync
                )
        self._feeds = [
            memory.Channel(size=2, inc_write=False, treq_sel=block.tx_request(i)) for i in range(4)
        ]
        self._rest = _FOLLOWER_ORIGIN + programs.FOLLOWER_REST

    def _set_up_watchers(self):
        block = self._watchers
        pins = self._pins
        block.write_program(programs.STAMPER, 0, 0, pins.span)
        block.write_program(programs.QUALIFIER, _QUALIFIER_ORIGIN, 0, 0)
        block.set_up(
            _STAMPER, programs.STAMPER, 0, 0, False, 1 << 26 | pins.base << 15 | pins.zero << 5
        )
        self._beams = 0  # bit n: beam n + 1 exists
        for i in range(2):
            if wire.KIND_BEAM[i] in self.profile.INPUTS:
                pin = self.profile.INPUTS[wire.KIND_BEAM[i]][0]
                self._beams |= 1 << i
                block.set_up(
                    _BEAM1 + i, programs.QUALIFIER, _QUALIFIER_ORIGIN, 0, False,
                    1 << 26 | pin << 15 | pins.marks[i] << 5, pin,
                )  # fmt: skip
        pins.show_marks()
        pins.name_stamps(self._stamps)
        self._sink = memory.allocate(1)
        self._counters = [
            memory.Channel(
                size=2, inc_read=False, inc_write=False, treq_sel=block.rx_request(_BEAM1 + i)
            )
            for i in range(2)
        ]
        self._counted = [0, 0]

    # -- outputs -----------------------------------------------------------------------------------------------
    def outputs_off(self):
        """Take the pins from the machines first, then stop the machines: a stopped one would leave its pin as it is."""
        self._pins.outputs_off()
        self._players.stop()
        self._used_players = 0

    # -- a table -----------------------------------------------------------------------------------------------
    def load(self, table):
        """Make the words of a table. Return 0, or a refusal's reason with fault_row and fault_detail. No pin moves."""
        self._table = None
        pins = self._pins
        reason = self._timeline.compile(table, pins.timeline_bits)
        if reason:
            return self._take_fault(reason, self._timeline)
        self._dwells = schedule.dwell_count(table.dwell)
        for player, follower in self._followers.items():
            output = wire.KIND_FLASH[player - _FLASH1]
            reason = follower.compile(table, output, pins.zero, pins.marks, self._dwells)
            if reason:
                return self._take_fault(reason, follower)
        if self.readings is not None:
            self.readings.plan(table)
        self._table = table
        return 0

    def _take_fault(self, reason, source):
        self.fault_row = source.fault_row
        self.fault_detail = source.fault_detail
        return reason

    # -- a shot ------------------------------------------------------------------------------------------------
    def start(self):
        """The release: everything is made ready, then one write starts the stamper, which raises the zero."""
        self._halt()
        self._watching = False
        self._arm_players()
        self._arm_watchers(self._table)
        if self._readings is not None:
            self._readings.begin()
        self._go()

    def watch(self, on):
        if on:
            self._halt()
            self._watching = True
            self._arm_watchers(None)
            self._go()
        else:
            self.stop()

    def _halt(self):
        self.outputs_off()
        self._stop_watchers()
        self._stamps.end()
        self._stop_channels()
        self._running = False

    def _stop_channels(self):
        for channel in self._feeds:
            channel.stop()
        for channel in self._counters:
            channel.stop()

    def _stop_watchers(self):
        """Set zero and marks low while the machines still run: an emulated pin shows a stopped one's level too late."""
        for machine_index in range(3):
            self._watchers.execute(machine_index, programs.SET_PINS_0)
        self._watchers.stop()

    def _arm_players(self):
        block = self._players
        mem32[block.control] = reg.CTRL_RESTART
        if self._timeline.words.count:
            self._arm_player(_TIMELINE, self._timeline.words)
        for player, follower in self._followers.items():
            if follower.words.count:
                self._arm_player(player, follower.words)
        mem32[block.fifo_debug] = reg.FDEBUG_ALL
        for i in range(4):
            if self._used_players >> i & 1:
                self._give(i)

    def _arm_player(self, player, words):
        block = self._players
        block.rewind(player)
        self._feeds[player].start(words.address, block.tx_address(player), words.count)
        block.take_first_word(player)
        self._used_players |= 1 << player

    def _give(self, player):
        if player == _TIMELINE:
            for signal in TIMELINE_SIGNALS:
                if signal in self.profile.OUTPUTS:
                    self._pins.give_to_machines(signal)
        else:
            self._pins.give_to_machines(wire.KIND_FLASH[player - _FLASH1])

    def _arm_watchers(self, table):
        block = self._watchers
        mem32[block.control] = reg.CTRL_RESTART
        block.rewind(_STAMPER)
        block.execute(_STAMPER, programs.MOV_OSR_NULL)
        block.execute(_STAMPER, programs.MOV_X_ONES)
        self._used_watchers = 1 << _STAMPER
        for beam in range(2):
            self._counted[beam] = 0
            if not self._beams >> beam & 1:
                continue
            self._pins.count_edges(beam, table is None or table.beam_edge[beam])
            block.rewind(_BEAM1 + beam)
            if table is not None and table.awaits[beam]:
                self._arm_qualifier(beam, table)
        mem32[block.fifo_debug] = reg.FDEBUG_ALL
        self._stamps.begin(self._pins.stamp_invert())

    def _arm_qualifier(self, beam, table):
        block = self._watchers
        machine_index = _BEAM1 + beam
        block.feed(machine_index, self._dwells)
        block.execute(machine_index, programs.PULL)
        block.execute(machine_index, programs.MOV_Y_OSR)
        block.feed(machine_index, schedule.blanking_count(table.blanking, self._dwells))
        block.execute(machine_index, programs.PULL)
        self._counters[beam].start(
            block.rx_address(machine_index), self._sink[0], reg.DMA_COUNT_MAX
        )
        self._used_watchers |= 1 << machine_index

    def _go(self):
        self._now = 0
        self.edges_lost = 0
        if self._pins.zero_is_up():
            # Something else drives it: the players would run before the zero.
            self._start_trouble = POLL_FAILURE
        else:
            mem32[self._players.control] = self._used_players
            mem32[self._watchers.control] = self._used_watchers
            self._start_trouble = 0 if self._pins.zero_is_up() else POLL_FAILURE
        # Read after the zero, so that now_ticks is never ahead of the hardware.
        self._last_us = time.ticks_us()
        self._running = True

    def stop(self):
        """End what runs, for whatever reason. Stamps taken so far can still be read."""
        if not self._running:
            self.outputs_off()
            return
        self.outputs_off()
        self.now_ticks()
        self._running = False
        for beam in range(2):
            self.counted(beam + 1)
        self._stop_watchers()
        for _ in range(8):  # while DMA stores the last stamps
            if mem32[self._watchers.fifo_status] >> reg.FSTAT_RXEMPTY & 1:
                break
        self._look_for_lost()
        self._stamps.end()
        self._stop_channels()
        if self._readings is not None:
            self._readings.end()

    # -- while it runs -----------------------------------------------------------------------------------------
    def poll(self):
        """Bit 0: the machines ran out of rows; bit 1: the hardware failed. Lost stamps are counted."""
        if not self._running:
            return 0
        flags = self._start_trouble
        self._look_for_lost()
        if self._due() >= 0:
            self._readings.follow(self.now_ticks())
        stalled = mem32[self._players.fifo_debug] >> reg.FDEBUG_TXSTALL & self._used_players
        if stalled & ~1:
            flags |= POLL_OVERRUN
        if stalled & 1 and self.now_ticks() < self._timeline.last + schedule.GAP_MAX:
            flags |= POLL_OVERRUN
        return flags

    def _due(self):
        """When the next readings are to start, -1 if none are."""
        return -1 if self._readings is None else self._readings.due

    def _look_for_lost(self):
        debug = self._watchers.fifo_debug
        if mem32[debug] >> reg.FDEBUG_RXSTALL & 1 << _STAMPER:
            mem32[debug] = 1 << reg.FDEBUG_RXSTALL + _STAMPER
            self._stamps.overflowed()
        self.edges_lost = self._stamps.lost()

    def next_edge(self):
        stamps = self._stamps
        state = stamps.state
        one = stamps.one
        if not take(state, stamps.ring, stamps.channel.remaining, stamps.signals, one, 0, 1):
            self.edges_lost = stamps.lost()
            return False
        self.edge_signal = one[0]
        self.edge_mark = state[MARK]
        self.edge_ticks = state[TICKS]
        return True

    def take_edges(self, records, at, room):
        stamps = self._stamps
        taken = take(
            stamps.state, stamps.ring, stamps.channel.remaining, stamps.signals, records,
            at * wire.SIZE_EDGE, room,
        )  # fmt: skip
        self.edges_lost = stamps.lost()
        return taken

    def rows_done(self):
        """Whether the timeline is over and every follower is back at rest with no word left."""
        used = self._used_players
        block = self._players
        if used & 1 and self.now_ticks() < self._timeline.last + _DONE_US * self._ticks_per_us:
            return False
        for player in range(_FLASH1, 4):
            if used >> player & 1:
                if memory.read(self._feeds[player].remaining) or not (
                    mem32[block.fifo_status] >> reg.FSTAT_TXEMPTY + player & 1
                ):
                    return False
                if mem32[block.address[player]] != self._rest:
                    return False
        return True

    def counted(self, beam):
        """How many edges of beam 1 or 2 the hardware has counted since the zero."""
        which = beam - 1
        if self._running and self._used_watchers >> _BEAM1 + which & 1:
            self._counted[which] = reg.DMA_COUNT_MAX - memory.read(self._counters[which].remaining)
        return self._counted[which]

    def now_ticks(self):
        """Ticks since the zero, never ahead of it; a watch counts modulo 2^30, a shot stays at the horizon."""
        if self._running:
            now_us = time.ticks_us()
            passed = time.ticks_diff(now_us, self._last_us)
            self._last_us = now_us
            if self._watching:
                self._now = self._now + passed * self._ticks_per_us & _TICKS_MASK
            elif passed > (_TICKS_MASK - self._now) // self._ticks_per_us:
                self._now = _TICKS_MASK
            else:
                self._now += passed * self._ticks_per_us
        return self._now

    def beam_dark(self, beam):
        return self._pins.beam_dark(beam - 1)

    def button_down(self):
        return self._pins.is_on(wire.SIGNAL_BUTTON1)

    def set_light(self, on):
        if self._light is not None:
            self._light.value(bool(on) == self._light_high)

    # -- the rest ----------------------------------------------------------------------------------------------
    def read_into(self, buffer):
        return self._console.read_into(buffer)

    def write(self, buffer, length):
        return self._console.write(buffer, length)

    def millis(self):
        return time.ticks_ms() & _TICKS_MASK

    def idle(self, ms):
        """Sleep until a byte comes, at most `ms`. While a shot or watch runs, take only a nap, so that no stamp waits
        for long, and wake exactly at `wake_ticks`."""
        ms = min(ms, _LOOK_MS)
        if self._running:
            ms = min(ms, _NAP_MS)
            if self._stamps.waiting() >= 2:
                return
            wake = self.wake_ticks
            due = self._due()
            if 0 <= due and (wake < 0 or due < wake):
                wake = due
            if wake >= 0 and not self._watching:
                left_us = (wake - self.now_ticks()) // self._ticks_per_us
                if left_us < 1000 * ms:
                    if left_us > 0:
                        time.sleep_us(left_us)
                    return
        self._console.wait(ms)

    def boot_entropy(self):
        return os.urandom(4)

    def start_watchdog(self, timeout_ms):
        """Start the watchdog, which these chips cannot stop; from here on feed_watchdog must be called in time."""
        self._watchdog = machine.WDT(timeout=timeout_ms)

    def enter_maintenance(self):
        """Restart without main loop and watchdog; this does not return."""
        maintenance.ask_for()
        time.sleep_ms(_LOOK_MS)  # for the answer to leave
        machine.reset()

    def feed_watchdog(self):
        if self._watchdog is not None:
            self._watchdog.feed()


def _allocate_words(capacity):
    address, halves, first = memory.allocate(capacity)
    return schedule.Words(address, halves, first, capacity)
