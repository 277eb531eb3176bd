"""Plays the rows of a table: finds what comes next, sets an alarm shortly before it, and waits for the exact time.

The rows are kept in tracks, each in order of time: one for all rows anchored at the release, one for each flash that
follows a beam, and one step for each beam whose dwell has to pass. There are at most six, so the next is found quickly.

The alarm, a counted edge or, as the last resort, the main loop calls `serve`, whichever is first. A call may interrupt
another (on some boards a pin's interrupt goes before the timer's): the inner call then only leaves a note. Nothing
allocates from `start` to `stop`.
"""

from array import array
from time import ticks_us

from machine import Pin, disable_irq, enable_irq

from beamfall_board.wire_definition import const
from ports.generic.alarm import REHEARSALS, rehearse
from ports.generic.ready import ReadyRows
from ports.generic.tracks import Tracks

_MASK = const(0x3FFFFFFF)
_NEVER = const(0x3FFFFFFF)  # as in tracks.py, and so is _RELEASE
_DWELL = const(4)  # index of the first dwell's step: _MOST of tracks.py
_STEPS = const(6)
_RELEASE = const(255)
_EDGES = const(256)
_COMMANDED = const(0)  # mark of an output's stamp: taken right after the command
_ENTER_US = const(200)  # from the start of a beam's interrupt until `serve` plays its rows
_WORTH_US = const(120)  # an alarm for less than this would be late itself
_PREPARING_US = const(600)  # preparing both beams' rows takes less
_GRACE_US = const(500)  # an event this late will be played by nothing else
_SETTLE_US = const(60)  # an edge just before the end of a dwell has had its interrupt by then


class Player:
    def __init__(self, profile, ring):
        self.zero = 0  # ticks_us() at the release
        self.recording = False
        self.playing = False
        self.watching = False
        self.clear_counters()
        self.busy_from = 0  # when the newest interrupt began and ended, see inputs.py
        self.busy_till = 0
        self.in_row = 0  # soft interrupts that have run one right after the other
        self.in_alarm = False
        self.dwell = 0
        self.nests = False  # the pins' interrupts go before the alarm's
        self._ring = ring
        self._late_us = profile.LATE_US
        self.lead = profile.DRIVE_US
        self.pins = [None] * 16
        self.physical = bytearray(32)  # by output << 1 | level
        self._names = sorted(profile.OUTPUTS)
        for output in self._names:
            pin, active_high = profile.OUTPUTS[output]
            self.pins[output] = Pin(pin, Pin.OUT, value=0 if active_high else 1)
            self.physical[output << 1] = 0 if active_high else 1
            self.physical[output << 1 | 1] = 1 if active_high else 0
        self.level = bytearray(16)
        self._was_late = bytearray(16)
        events = max(2 * profile.ROWS_MAX, _DWELL * REHEARSALS)
        self.tracks = tracks = Tracks(events, _STEPS)
        self._code = tracks.code
        self._count = tracks.count
        self._offset = tracks.offset
        self._width = tracks.width
        self._after = tracks.after
        self._anchor = tracks.anchor
        self._cursor = tracks.cursor
        self._time = tracks.time
        self.counts = bytearray(2)  # by beam: edges counted so far
        self._edge_ticks = (array("I", bytes(4 * _EDGES)), array("I", bytes(4 * _EDGES)))
        most = len(self._names)
        self._now_pin = [None] * most  # what is driven next, all at one time
        self._now_value = bytearray(most)
        self._now_code = bytearray(most)
        self._now_ticks = array("I", bytes(4 * most))
        self._next_time = _NEVER
        self._next = 0
        self._changed = False
        self._serving = False
        self._again = False
        self.served_us = 0  # the earliest row at a beam that its interrupt may leave to `serve`
        self._begun = 0
        self.longest = 0  # from an alarm's call to the start of the wait

    def connect(self, alarm, inputs):
        """The alarm that calls `serve`, and the inputs of the two beams (None where there is none)."""
        self._alarm = alarm
        self._inputs = inputs
        self.ready = (ReadyRows(self, 0, inputs[0]), ReadyRows(self, 1, inputs[1]))
        self.ahead = rehearse(self, alarm) + self.lead  # how long before its event an alarm is set
        # No event may be due within the longest wait for another.
        self.served_us = self.ahead + _WORTH_US + _ENTER_US
        self.ready_us = self.ready[0].rehearse(REHEARSALS)  # the earliest prepared row at a beam

    # -- outputs -----------------------------------------------------------------------------------------------
    def outputs_off(self):
        """Switch every output to its inactive level, and stamp those that were on."""
        self.playing = False
        for output in self._names:
            self.pins[output](self.physical[output << 1])
            if self.level[output]:
                self.level[output] = 0
                if self.recording:
                    self._ring.add(output << 2 | _COMMANDED, self.now())

    def now(self):
        return ticks_us() - self.zero & _MASK

    # -- a shot ------------------------------------------------------------------------------------------------
    def clear_counters(self):
        self.rows_late = 0
        self.worst_late = 0
        self.skipped = 0  # rows that were over before they could be begun
        self.rescued = 0  # events that the main loop had to play
        self.failed = False  # an interrupt has raised: the outputs have been off since

    def start(self, table):
        """The release."""
        for step in range(_STEPS):
            self._time[step] = _NEVER
        for track in range(self.tracks.number):
            first = self.tracks.first[track]
            self._cursor[track] = first
            if self._anchor[track] == _RELEASE:
                self._time[track] = self._offset[first]
        self.dwell = table.dwell if table is not None else 0
        self._serving = False
        for which in range(2):
            self.counts[which] = 0
            if table is not None and self._inputs[which] is not None:
                self._inputs[which].counted_level = table.beam_edge[which]
                self._inputs[which].beam.start(table.beam_edge[which], table.blanking, table.dwell)
            self.ready[which].driven = 0
            self.ready[which].prepare()
        self._alarm.begin()
        self.watching = False
        self.busy_from = self.busy_till = 0
        self.zero = ticks_us()
        self.recording = True
        self._find_next()
        self.playing = True
        self.serve()

    def watch(self):
        self.playing = False
        self.watching = True
        self.zero = ticks_us()
        self.recording = True

    def stop(self):
        self.outputs_off()
        self._alarm.end()

    def rows_done(self):
        for track in range(self.tracks.number):
            if self._time[track] != _NEVER:
                return False
        return True

    # -- from the beams' interrupts ----------------------------------------------------------------------------
    def counted(self, which, count, ticks):
        """Edge `count` of a beam has been counted: rows that follow it get their times."""
        if count >= _EDGES:
            return
        self.counts[which] = count
        self._edge_ticks[which][count] = ticks
        if self.ready[which].driven:
            self.ready[which].note(ticks)
        for track in range(self.tracks.number):
            if self._anchor[track] == which and self._time[track] == _NEVER:
                at = self._cursor[track]
                if at < self._after[track] and self._count[at] == count:
                    self._move(track, ticks + self._offset[at])
        self.serve()

    def _prepare_waiting(self):
        """Prepare what has begun to wait for an edge. The next event is far enough away not to be held up."""
        for which in range(2):
            if self.ready[which].waiting:
                self.ready[which].prepare()

    def note_played(self, track, stamp, when):
        """The start of a track's next row, which was due at `when`, has been driven at `stamp`."""
        output = self._code[self._cursor[track]] >> 1
        self.level[output] = 1
        self._ring.add(output << 2 | _COMMANDED | 1, stamp)
        self._note_late(output, stamp - when, 1)
        self._advance(track)
        self._move(track, self._time[track])

    def await_dwell(self, which, beam):
        """A beam's edge now waits for its dwell to pass, or no longer waits."""
        if beam.pending:
            self._move(_DWELL + which, beam.settles + _SETTLE_US)
            self.serve()
        else:
            self._time[_DWELL + which] = _NEVER
            self._changed = True

    def note_held(self, held):
        """A beam's stamp may be late by `held`, and so may every row that follows the edge."""
        if held > self.worst_late:
            self.worst_late = held
        if held > self._late_us:
            self.rows_late += 1

    def _move(self, step, when):
        self._time[step] = when
        self._changed = True
        if when < self._next_time:
            self._next_time = when
            self._next = step

    # -- playing -----------------------------------------------------------------------------------------------
    def _find_next(self):
        times = self._time
        tracks = self.tracks.number
        while True:
            self._changed = False
            when = _NEVER
            best = 0
            step = 0
            while step < tracks:
                if times[step] < when:
                    when = times[step]
                    best = step
                step += 1
            if times[_DWELL] < when:
                when = times[_DWELL]
                best = _DWELL
            if times[_DWELL + 1] < when:
                when = times[_DWELL + 1]
                best = _DWELL + 1
            self._next_time = when
            self._next = best
            if not self._changed:
                return

    def serve(self, timer=None):
        """Play what is due, wait for what is near, set the alarm for what is not."""
        if self._serving:
            self._again = True
            return
        self._begun = begun = ticks_us() - self.zero & _MASK
        self.in_alarm = timer is not None
        try:
            while True:
                self._serving = True
                self._again = False
                self._work()
                self._serving = False
                if not self._again:
                    break
        finally:
            if self._serving:
                self.fail()
        self.in_alarm = False
        if timer is not None and not self.nests:  # other interrupts may have waited behind this one
            self.busy_from = begun
            self.busy_till = ticks_us() - self.zero & _MASK

    def fail(self):
        """Something has raised. The interpreter will not call that interrupt again, so nothing would switch off an
        output that is on. Switch all off now; `failed` tells the main loop."""
        self.failed = True
        self._serving = False
        self.in_alarm = False
        self.outputs_off()

    def _work(self):
        while self.playing:
            when = self._next_time
            if when == _NEVER:
                if self._changed:
                    self._find_next()
                    continue
                self._prepare_waiting()
                return
            wait = when - (ticks_us() - self.zero & _MASK)
            if wait > self.ahead + _WORTH_US:
                self._alarm.set(wait - self.ahead)
                if wait > self.ahead + _PREPARING_US:
                    self._prepare_waiting()
                return
            if self._next < _DWELL:
                self._play(when)
            else:
                self._settle(self._next - _DWELL, when)
            self._find_next()

    def _play(self, when):
        """Drive all outputs that are due at one time, one right after the other. Everything is made ready before the
        wait, so that little is left to do after it. No other row can become due meanwhile: none follows a beam sooner
        than the alarm is set ahead."""
        count = 0
        track = 0
        while track < self.tracks.number:
            while self._time[track] == when:
                at = self._cursor[track]
                code = self._code[at]
                if self._is_to_play(code, when, self._width[at]):
                    self._now_pin[count] = self.pins[code >> 1]
                    self._now_value[count] = self.physical[code]
                    self._now_code[count] = code
                    count += 1
                self._advance(track)
            track += 1
        zero = self.zero
        due = when - self.lead
        pins = self._now_pin
        values = self._now_value
        stamps = self._now_ticks
        took = (ticks_us() - zero & _MASK) - self._begun
        if took > self.longest and self.in_alarm:
            self.longest = took
        while (ticks_us() - zero & _MASK) < due:
            pass
        if not self.playing:
            return
        i = 0
        state = disable_irq()  # an interrupt between a pin and its stamp would make the stamp late
        try:
            while i < count:
                pins[i](values[i])
                stamps[i] = ticks_us() - zero & _MASK
                i += 1
        finally:
            enable_irq(state)
        i = 0
        while i < count:
            code = self._now_code[i]
            self.level[code >> 1] = code & 1
            self._ring.add(code >> 1 << 2 | _COMMANDED | code & 1, stamps[i])
            self._note_late(code >> 1, stamps[i] - when, code & 1)
            i += 1

    def _is_to_play(self, code, when, width):
        """Whether to drive this edge. A row that is over before it could begin is left out, and counted: a late flash
        would be worse than none."""
        if not code & 1:
            return self.level[code >> 1]
        late = (ticks_us() - self.zero & _MASK) - when
        if late < width:
            return True
        self.skipped += 1
        self._note_late(code >> 1, late, 1)
        return False

    def _note_late(self, output, late, level):
        """A row counts once, whether its begin or its end was late."""
        if late > self.worst_late:
            self.worst_late = late
        is_late = 1 if late > self._late_us else 0
        if is_late and (level or not self._was_late[output]):
            self.rows_late += 1
        self._was_late[output] = is_late if level else 0

    def _advance(self, track):
        """Go on to the track's next edge, and set its time if that is known."""
        at = self._cursor[track] + 1
        self._cursor[track] = at
        if at == self._after[track]:
            self._time[track] = _NEVER
            return
        if self._anchor[track] == _RELEASE:
            self._time[track] = self._offset[at]
            return
        which = self._anchor[track]
        count = self._count[at]
        self._time[track] = _NEVER
        # In this order: if an edge comes in between, its interrupt finds the track waiting and gives it its time.
        if count <= self.counts[which]:
            self._time[track] = self._edge_ticks[which][count] + self._offset[at]
        elif self._offset[at] < self.served_us:
            self.ready[which].waiting = True

    def _settle(self, which, when):
        """Count the edge whose dwell has passed, unless the beam's interrupt has just found otherwise."""
        beam = self._inputs[which].beam
        zero = self.zero
        while (ticks_us() - zero & _MASK) < when:
            if self._time[_DWELL + which] != when:
                return
        state = disable_irq()
        self._time[_DWELL + which] = _NEVER
        counted = beam.settle(ticks_us() - self.zero & _MASK)
        count = beam.count
        ticks = beam.ticks
        enable_irq(state)
        if counted:
            self.counted(which, count, ticks)

    def rescue(self):
        """Play what is overdue. The main loop calls this, so that no output stays on because an alarm is missing."""
        when = self._next_time
        if self.playing and when != _NEVER and (ticks_us() - self.zero & _MASK) - when > _GRACE_US:
            self.rescued += 1
            self.serve()
