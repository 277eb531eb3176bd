"""The state machine of a board: idle, armed-for-sensor, fired, missed, fault.

Integers only. Between a release and the end of its shot, only the link's frames are allocated.
"""

import struct

from beamfall_board import wire_definition as wire
from beamfall_board.beams import Qualifier
from beamfall_board.budget import Budget
from beamfall_board.edges import EdgeBuffer
from beamfall_board.limits import Limits, is_flash, ms_to_ticks
from beamfall_board.link import NO_ROW, ms_since
from beamfall_board.table import Table
from beamfall_board.watch import QUIET_MS, Watch

POLL_OVERRUN = 1
POLL_FAILURE = 2
EDGES_KEPT = 600
CHATTER_EDGES = 200  # more beam edges than this in one shot are not drops
OVERDUE_MS = 500  # rows that end this much too late: the hardware has failed
SERVICE_TAIL_MS = 1200  # a drop released by a service action is at the beam by then
FLASH_TAIL_MS = 50


class Controller:
    def __init__(self, port, profile, store, open_time=None):
        self._port = port
        self._store = store
        self.limits = Limits(profile, port)
        self.budget = Budget(profile, port.clock_hz, port.millis(), open_time)
        self.table = Table(profile.ROWS_MAX)
        self.spare = Table(profile.ROWS_MAX)  # for a slot's content, which may not be a valid table
        self._service = Table(1)
        self._running = self.table
        self._loaded = None
        self._edges = EdgeBuffer(EDGES_KEPT, store)
        self._beams = (Qualifier(), Qualifier())
        self._watch = Watch(port, self._edges, self._beams)
        self._payload = bytearray(wire.FIXED_SHOT_DONE)
        self.state = wire.STATE_IDLE
        self.cause = wire.CAUSE_RESTARTED
        self.activity = wire.ACTIVITY_NONE
        self.number = 0  # of the running shot, service action or watch
        self.last_release = 0
        # Shots and service actions started: shows whether an exception came before or after a start.
        self.starts = 0
        self._service_number = 0
        self.measured = wire.ACTIVITY_NONE  # what the port's readings belong to
        self.measured_number = 0
        self._end = 0  # when the last row ends whose time is known
        self._overdue = ms_to_ticks(OVERDUE_MS, self.limits.clock_hz)
        self._beam_edges = 0
        self._edge_ms = 0  # when the newest edge was taken
        # Where Python drives the outputs, making and sending reports would make rows late.
        self._reports_early = port.timing != wire.TIMING_INTERRUPT
        self.host_timeout_ms = 0  # of the session: how long its host may be silent; 0: no limit
        self._missed_ms = 0  # the same for what is running, also after its session has ended

    # -- state -------------------------------------------------------------------------------------------------
    def set_state(self, state, cause, number, ticks):
        if state == self.state and cause == self.cause:
            return
        self.state = state
        self.cause = cause
        payload = self._payload
        struct.pack_into(wire.FORMAT_STATE_CHANGED, payload, 0, number, state, cause, ticks)
        self._store.add(wire.MSG_STATE_CHANGED, payload, 0, wire.FIXED_STATE_CHANGED)

    def fail(self, cause):
        """Switch the outputs off and report why."""
        self._port.outputs_off()
        if self.activity != wire.ACTIVITY_NONE:
            self._finish(wire.STATE_FAULT, cause)
        self.set_state(wire.STATE_FAULT, cause, 0, 0)

    def abort(self):
        self._port.outputs_off()
        if self.activity != wire.ACTIVITY_NONE:
            self._finish(wire.STATE_IDLE, wire.CAUSE_ABORTED)
        if self.state != wire.STATE_IDLE:
            self.set_state(wire.STATE_IDLE, wire.CAUSE_ABORTED, 0, 0)

    def use_edge_constant(self, ticks):
        """Use this constant from the next release on, for which the port prepares its table again."""
        self._loaded = None
        self._port.use_edge_constant(ticks)

    # -- starting ----------------------------------------------------------------------------------------------
    def commit(self):
        """Check the whole uploaded table and load it into the port; return a refusal (0: none), its row and detail."""
        return self._commit(self.table)

    def commit_spare(self):
        """Do the same with the spare table, which replaces the uploaded one only when it is ready."""
        outcome = self._commit(self.spare)
        if not outcome[0]:
            self.table, self.spare = self.spare, self.table
        return outcome

    def _commit(self, table):
        if self.activity != wire.ACTIVITY_NONE:  # the port would continue with another table
            return wire.REFUSAL_BUSY, NO_ROW, self.activity
        missing = table.first_missing()
        if missing >= 0:
            return wire.REFUSAL_TABLE_INCOMPLETE, NO_ROW, missing
        if not table.digest_fits():
            return wire.REFUSAL_WRONG_DIGEST, NO_ROW, 0
        reason = self.limits.check(table)
        if reason:
            return reason, self.limits.fault_row, self.limits.fault_detail
        self._loaded = None
        reason = self._port.load(table)
        if reason:
            return reason, self._port.fault_row, self._port.fault_detail
        self._loaded = table
        table.state = wire.TABLE_READY
        return 0, 0, 0

    def blocked_beam(self, table):
        """The number of an awaited beam that is not clear, 0 if there is none."""
        for beam in range(2):
            if table.awaits[beam] and self._port.beam_dark(beam + 1):
                return beam + 1
        return 0

    def release(self, number):
        """Return 0, or why the port cannot run the table; then no pin has moved and the number is still free."""
        reason = self._prepare(self.table)
        if reason:
            return reason
        if number < wire.BUTTON_RELEASE_BASE:
            self.last_release = number
        self._start(self.table, wire.ACTIVITY_SHOT, number)
        if self.table.awaits[0] or self.table.awaits[1]:
            self.set_state(wire.STATE_ARMED_FOR_SENSOR, wire.CAUSE_NONE, number, 0)
        else:
            self.set_state(wire.STATE_FIRED, wire.CAUSE_NONE, number, 0)
        return 0

    def serve(self, activity, output, width):
        """Run a service action: one pulse, with edges recorded for a while after it. Return 0 or why not."""
        tail_ms = FLASH_TAIL_MS if is_flash(output) else SERVICE_TAIL_MS
        tail = ms_to_ticks(tail_ms, self.limits.clock_hz)
        self._service.make_single(output, width, self.limits.earliest, tail)
        reason = self._prepare(self._service)
        if not reason:
            self._service_number += 1
            self._start(self._service, activity, self._service_number)
        return reason

    def service_table(self, output, width):
        """The table that a service action would run, for the budget to check."""
        self._service.make_single(output, width, self.limits.earliest, 0)
        return self._service

    def _prepare(self, table):
        """Load a table into the port unless it is there; return 0 or the port's refusal."""
        if self._loaded is table and table is not self._service:
            return 0
        self._loaded = None
        reason = self._port.load(table)
        if not reason:
            self._loaded = table
        elif table is not self._service:  # the port accepted it before: something is wrong
            self.fail(wire.CAUSE_PORT_FAILURE)
        return reason

    def _start(self, table, activity, number):
        self._running = table
        self._missed_ms = self.host_timeout_ms
        self.starts += 1
        self.activity = activity
        self.number = number
        self.measured = activity
        self.measured_number = number
        self._edges.clear()
        self._beam_edges = 0
        for beam in range(2):
            self._beams[beam].start(table.beam_edge[beam], table.blanking, table.dwell)
        self._end = table.last_release_ticks()
        self.budget.begin(table, self._port.millis())
        self._port.start()
        self.budget.started(self._port.millis())

    def watch(self, on):
        if on:
            self._service_number += 1
            self.number = self._service_number
            self.activity = wire.ACTIVITY_WATCH
            self._edges.clear()
            self._watch.begin(self.number)
            self._port.watch(True)
        else:
            self._finish(self.state, wire.CAUSE_NONE)

    # -- running -----------------------------------------------------------------------------------------------
    def step(self):
        """Take edges, change the state, end what is over. The main loop calls this as often as it can."""
        if self.activity == wire.ACTIVITY_NONE:
            return
        flags = self._port.poll()
        if self.activity == wire.ACTIVITY_WATCH:
            self._watch.step()
        else:
            # Read the clock first: take every edge stamped before this time, then judge by it.
            now = self._port.now_ticks()
            self._take_edges()
            if self._reports_early:
                self._report_early()
            if self.activity == wire.ACTIVITY_SHOT and self.state == wire.STATE_ARMED_FOR_SENSOR:
                self._step_armed(now)
            if self.activity != wire.ACTIVITY_NONE and self.state != wire.STATE_ARMED_FOR_SENSOR:
                self._step_end()
        if flags & (POLL_OVERRUN | POLL_FAILURE) and self.activity != wire.ACTIVITY_NONE:
            self.fail(wire.CAUSE_PORT_FAILURE if flags & POLL_FAILURE else wire.CAUSE_OVERRUN)

    def _take_edges(self):
        port = self._port
        while port.next_edge():
            signal = port.edge_signal
            ticks = port.edge_ticks
            if self.state != wire.STATE_ARMED_FOR_SENSOR and ticks > self._end + self._running.tail:
                continue  # after the end of the record
            self._edges.add(signal, port.edge_mark, ticks)
            self._edge_ms = port.millis()
            if signal in wire.KIND_BEAM:
                self._beam_edges += 1
                which = wire.KIND_BEAM.index(signal)
                beam = self._beams[which]
                before = beam.count
                beam.feed(port.edge_mark & 1, ticks)
                if beam.count != before:
                    self._counted(which, beam)

    def _report_early(self):
        """Report edges while the shot runs, if the end's own reports will still fit."""
        edges = self._edges
        if not edges.count or not self._store.has_room():
            return
        if edges.count >= wire.EDGES_PER_REPORT:
            edges.report(self.activity, self.number, 0, wire.EDGES_PER_REPORT)
        elif ms_since(self._port.millis(), self._edge_ms) >= QUIET_MS:
            edges.report(self.activity, self.number, 0)

    def _counted(self, which, beam):
        """An edge has counted: rows anchored to it now have their times."""
        table = self._running
        for row in range(table.rows):
            if table.anchor[row] == wire.ANCHOR_BEAM1 + which and table.count[row] == beam.count:
                self._end = max(self._end, beam.ticks + table.delay[row] + table.width[row])

    def _step_armed(self, now):
        """All edges up to `now` have been taken."""
        table = self._running
        satisfied = True
        latest = 0
        for which in range(2):
            beam = self._beams[which]
            if beam.settle(now):
                self._counted(which, beam)
            if beam.count < table.awaits[which]:
                satisfied = False
            elif table.awaits[which]:
                latest = max(latest, beam.ticks)
        if satisfied and latest <= table.window:
            self._end = max(self._end, latest)
            self.set_state(wire.STATE_FIRED, wire.CAUSE_NONE, self.number, latest)
        elif now >= table.window:
            self._end = table.window
            cause = wire.CAUSE_FEW_EDGES if self._beam_edges else wire.CAUSE_NO_EDGE
            if self._beam_edges >= CHATTER_EDGES:
                cause = wire.CAUSE_CHATTER
            self._finish(wire.STATE_MISSED, cause)

    def _step_end(self):
        port = self._port
        now = port.now_ticks()
        over = self._end + self._running.tail
        if now < over:
            return
        if port.rows_done():
            self._finish(self.state, wire.CAUSE_NONE)  # of a shot: fired
        elif now - over >= self._overdue or now >= wire.HORIZON_TICKS:
            self.fail(wire.CAUSE_PORT_FAILURE)

    def _finish(self, state, cause):
        """End a shot, service action or watch, for whatever reason: outputs off, last edges taken, report made."""
        port = self._port
        activity = self.activity
        number = self.number
        port.stop()
        ended = port.now_ticks()  # after the outputs went off: their edges belong to the record
        if activity == wire.ACTIVITY_WATCH:
            self._watch.take_all()
            self._watch.flush()
            self._beam_edges = self._watch.beam_edges
            digest = bytes(16)
        else:
            table = self._running
            self.budget.ended(table, port.millis(), port.worst_late)
            planned = self._end + table.tail
            if cause != wire.CAUSE_NONE:
                # The outputs went off only now, and that belongs to the record.
                self._end = max(self._end, ended)
            self._take_edges()
            digest = table.digest
            ended = planned if cause == wire.CAUSE_NONE else max(ended, self._edges.newest)
            self._edges.report(activity, number, 0)
        self._report_end(activity, state, cause, digest, ended)

    def _report_end(self, activity, state, cause, digest, ended):
        """The change of state and the `shot_done` of what has ended, whose edges have been reported."""
        port = self._port
        number = self.number
        lost = port.edges_lost + self._edges.lost
        shown = cause
        if cause == wire.CAUSE_NONE:
            if lost:
                shown = wire.CAUSE_LOST_EDGES
            elif port.rows_late:
                shown = wire.CAUSE_LATE
            elif self._beam_edges >= CHATTER_EDGES:
                shown = wire.CAUSE_CHATTER
        self.activity = wire.ACTIVITY_NONE
        if activity == wire.ACTIVITY_SHOT:
            self.set_state(state, shown, number, ended & wire.HORIZON_TICKS)
        elif state == wire.STATE_FAULT:
            self.set_state(state, shown, 0, ended & wire.HORIZON_TICKS)
        payload = self._payload
        struct.pack_into(
            wire.FORMAT_SHOT_DONE, payload, 0, activity, number, state, shown, bytes(digest),
            ended & wire.HORIZON_TICKS, self._edges.reported, lost, min(port.rows_late, 65535), port.worst_late,
            self._beams[0].count & 65535, self._beams[1].count & 65535,
            min(self._beams[0].ignored + self._beams[1].ignored, 65535),
        )  # fmt: skip
        self._store.add(wire.MSG_SHOT_DONE, payload, 0, wire.FIXED_SHOT_DONE)

    # -- when to look again ------------------------------------------------------------------------------------
    def wake_ms(self, longest):
        """How long the main loop may sleep. For ports that can wake exactly, also set `port.wake_ticks`."""
        port = self._port
        port.wake_ticks = -1
        if self.activity == wire.ACTIVITY_NONE:
            return longest
        if self.activity == wire.ACTIVITY_WATCH:
            return min(longest, QUIET_MS if self._edges.count else 1000)
        wake = self._end + self._running.tail
        if port.now_ticks() >= wake:  # rows are overdue
            wake = min(wake, wire.HORIZON_TICKS - self._overdue) + self._overdue
        if self.state == wire.STATE_ARMED_FOR_SENSOR and self.activity == wire.ACTIVITY_SHOT:
            wake = self._running.window
            for beam in self._beams:
                if beam.pending and beam.settles < wake:
                    wake = beam.settles
        port.wake_ticks = wake
        if self._reports_early and self._edges.count:
            return min(longest, QUIET_MS)
        return longest

    def give_up(self, cause):
        """After even `fail` has raised: nothing counts as running now, outputs that ran must rest, and what ran ends
        with what the board has; the hardware is asked for nothing more. Raises if the open time cannot be counted."""
        activity = self.activity
        self.activity = wire.ACTIVITY_NONE
        if activity != wire.ACTIVITY_NONE and activity != wire.ACTIVITY_WATCH:
            self.budget.ended(self._running, self._port.millis(), 0)
        if activity != wire.ACTIVITY_NONE:
            try:
                self._report_what_is_known(activity, cause)
            except Exception:  # noqa: BLE001, S110 - memory is short; the state below says the most important
                pass
        try:
            self.set_state(wire.STATE_FAULT, cause, 0, 0)
        except Exception:  # noqa: BLE001, S110 - the state has changed; its report could not be kept
            pass

    def _report_what_is_known(self, activity, cause):
        edges = self._edges
        if activity == wire.ACTIVITY_WATCH:
            self._watch.flush()
            digest = bytes(16)
        else:
            edges.report(activity, self.number, 0)
            digest = self._running.digest
        self._report_end(activity, wire.STATE_FAULT, cause, digest, edges.newest)

    def set_host_timeout(self, timeout_ms):
        self.host_timeout_ms = self._missed_ms = timeout_ms

    def check_host(self, silent_ms):
        """Outputs off if the host has set a timeout and falls silent during its own shot or service action.
        A watch continues: nothing can be on in it."""
        if not self._missed_ms or silent_ms <= self._missed_ms:
            return
        if self.activity == wire.ACTIVITY_NONE or self.activity == wire.ACTIVITY_WATCH:
            return
        if self.number >= wire.BUTTON_RELEASE_BASE:
            return  # a button shot, which has no host
        self.fail(wire.CAUSE_LOST_HOST)
