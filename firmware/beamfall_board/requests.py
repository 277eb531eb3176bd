"""What each request does. The link has already handled sessions, numbers and repeats."""

import struct

from beamfall_board import answers
from beamfall_board import wire_definition as wire
from beamfall_board.limits import is_flash, is_valve, ms_to_ticks
from beamfall_board.link import NO_ROW, ms_since
from beamfall_board.payloads import payload_fits
from beamfall_board.slots import SLOTS

RINSE_TOKEN_MS = 30000  # how long a rinse can be confirmed
HOST_MS = 10000  # a host that was heard within this time is still there
ORPHAN_MS = 30000  # a host that is silent for this long has left its watch


class Requests:
    def __init__(self, port, profile, controller, store, slots):
        self._port = port
        self._profile = profile
        self._controller = controller
        self._store = store
        self._slots = slots
        self.link = None  # set once, by the board
        self.button = None  # also set once, if there is one
        self.boot_id = int.from_bytes(port.boot_entropy(), "little") & 0x3FFFFFFF or 1
        self.fault_row = NO_ROW
        self.fault_detail = 0
        self._token = self.boot_id
        self._token_for = (0, 0)
        self._token_ms = 0
        self._token_good = False
        self._slot_reason = 0
        self._presses = 0  # button releases have their own numbers, apart from a host's
        self.maintenance_asked = False
        self._noted_ms = 0  # the port's clock when it was last read
        self._turns = 0  # how often it has wrapped since the start
        self._does = {
            wire.MSG_STATUS: self._status,
            wire.MSG_TABLE_BEGIN: self._table_begin,
            wire.MSG_TABLE_ROWS: self._table_rows,
            wire.MSG_TABLE_COMMIT: self._table_commit,
            wire.MSG_RELEASE: self._release,
            wire.MSG_ABORT: self._abort,
            wire.MSG_WATCH: self._watch,
            wire.MSG_DRIP: self._drip,
            wire.MSG_RINSE: self._rinse,
            wire.MSG_TEST_FLASH: self._test_flash,
            wire.MSG_SET_HOST_TIMEOUT: self._set_host_timeout,
            wire.MSG_SLOTS: self._slots_are,
            wire.MSG_SLOT_SAVE: self._slot_save,
            wire.MSG_SLOT_LOAD: self._slot_load,
            wire.MSG_SLOT_ERASE: self._slot_erase,
            wire.MSG_SLOT_CHOOSE: self._slot_choose,
            wire.MSG_MAINTENANCE: self._maintenance,
            wire.MSG_EDGE_CONSTANT: self._edge_constant,
            wire.MSG_READINGS: self._readings,
        }

    def handle(self, message, body, start, end):
        act = self._does.get(message)
        if act is None:
            return wire.REFUSAL_UNKNOWN_MESSAGE
        if not payload_fits(message, body, start, end):
            return wire.REFUSAL_BAD_PAYLOAD
        return act(body, start)

    def _refuse(self, reason, detail, row=NO_ROW):
        self.fault_row = row
        self.fault_detail = detail
        return reason

    def _not_free(self):
        """Why nothing may start now; 0 if it may."""
        controller = self._controller
        if controller.activity != wire.ACTIVITY_NONE or self.maintenance_asked:
            return self._refuse(wire.REFUSAL_BUSY, controller.activity)
        if controller.state == wire.STATE_FAULT:
            return self._refuse(wire.REFUSAL_IN_FAULT, controller.cause)
        return 0

    # -- the table ---------------------------------------------------------------------------------------------
    def _table_begin(self, body, start):
        controller = self._controller
        if controller.activity != wire.ACTIVITY_NONE:
            return self._refuse(wire.REFUSAL_BUSY, controller.activity)
        (rows,) = struct.unpack_from("<H", body, start + 16)
        if rows == 0:
            return wire.REFUSAL_BAD_PAYLOAD
        if rows > controller.table.capacity:
            return self._refuse(wire.REFUSAL_TOO_MANY_ROWS, controller.table.capacity)
        controller.table.begin(body, start)
        controller.set_state(wire.STATE_IDLE, wire.CAUSE_NONE, 0, 0)
        return 0

    def _table_rows(self, body, start):
        table = self._controller.table
        if table.state != wire.TABLE_PARTIAL:
            return wire.REFUSAL_NO_TABLE
        (first,) = struct.unpack_from("<H", body, start)
        count = body[start + 2]
        if first + count > table.rows:
            return self._refuse(wire.REFUSAL_TOO_MANY_ROWS, table.rows)
        at = start + 3
        for index in range(count):
            if body[at + index * wire.SIZE_ROW + 3]:
                return wire.REFUSAL_BAD_PAYLOAD  # `spare` is 0
        for index in range(first, first + count):
            table.put(index, body, at)
            at += wire.SIZE_ROW
        return 0

    def _table_commit(self, body, start):
        controller = self._controller
        table = controller.table
        if table.state == wire.TABLE_READY:
            return 0
        if controller.activity != wire.ACTIVITY_NONE:
            return self._refuse(wire.REFUSAL_BUSY, controller.activity)
        if table.state != wire.TABLE_PARTIAL:
            return wire.REFUSAL_NO_TABLE
        reason, self.fault_row, self.fault_detail = controller.commit()
        return reason

    # -- the shot ----------------------------------------------------------------------------------------------
    def _release(self, body, start):
        controller = self._controller
        boot_id, number, digest = struct.unpack_from(wire.FORMAT_RELEASE, body, start)
        if boot_id != self.boot_id:
            return wire.REFUSAL_WRONG_BOOT
        if number >= wire.BUTTON_RELEASE_BASE:
            return self._refuse(wire.REFUSAL_OVER_LIMIT, wire.BUTTON_RELEASE_BASE - 1)
        if number <= controller.last_release:
            return self._refuse(wire.REFUSAL_RELEASE_USED, controller.last_release)
        reason = self._not_free()
        if reason:
            return reason
        table = controller.table
        if table.state == wire.TABLE_READY and digest != bytes(table.digest):
            return wire.REFUSAL_WRONG_DIGEST
        return self._start_shot(number)

    def _start_shot(self, number):
        controller = self._controller
        table = controller.table
        if table.state != wire.TABLE_READY:
            return wire.REFUSAL_NO_TABLE
        blocked = controller.blocked_beam(table)
        if blocked:
            return self._refuse(wire.REFUSAL_BEAM_BLOCKED, blocked)
        if not controller.budget.take(table, self._port.millis()):
            return self._refuse(wire.REFUSAL_TOO_SOON, controller.budget.wait_ms)
        reason = controller.release(number)
        if reason:
            return self._refuse(reason, self._port.fault_detail, self._port.fault_row)
        return 0

    @property
    def starts(self):
        return self._controller.starts

    def raised(self, starts_before):
        """The answer to a request whose handler has raised; `starts` shows whether it had started anything."""
        if self._controller.starts != starts_before:
            return 0  # it had; the end of the shot reports the rest
        return self._refuse(wire.REFUSAL_IN_FAULT, wire.CAUSE_INTERNAL)

    def _abort(self, body, start):
        self._controller.abort()
        if self.button is not None:
            self.button.forget(self._port.button_down(), self._port.millis())
        return 0

    def _watch(self, body, start):
        controller = self._controller
        if body[start] > 1:
            return wire.REFUSAL_BAD_PAYLOAD
        if body[start]:
            reason = self._not_free()
            if not reason:
                controller.watch(True)
            return reason
        if controller.activity == wire.ACTIVITY_WATCH:
            controller.watch(False)
        return 0

    def _set_host_timeout(self, body, start):
        self._controller.set_host_timeout(struct.unpack_from("<I", body, start)[0])
        return 0

    def session_opened(self):
        """A new session has no timeout until its host sets one."""
        self._controller.host_timeout_ms = 0

    # -- service -----------------------------------------------------------------------------------------------
    def _serve(self, activity, output, width, longest):
        """Run one pulse, within the same budget as a shot."""
        if width == 0:
            return wire.REFUSAL_ZERO_WIDTH
        if width > longest:
            return self._refuse(wire.REFUSAL_OVER_LIMIT, longest)
        reason = self._not_free()
        if reason:
            return reason
        return self._pulse(activity, output, width)

    def _pulse(self, activity, output, width):
        controller = self._controller
        if not controller.budget.take(controller.service_table(output, width), self._port.millis()):
            return self._refuse(wire.REFUSAL_TOO_SOON, controller.budget.wait_ms)
        reason = controller.serve(activity, output, width)
        return self._refuse(reason, self._port.fault_detail) if reason else 0

    def _drip(self, body, start):
        output, width = struct.unpack_from(wire.FORMAT_DRIP, body, start)
        limits = self._controller.limits
        if not is_valve(output) or not limits.has_output(output):
            return self._refuse(wire.REFUSAL_BAD_OUTPUT, output)
        return self._serve(wire.ACTIVITY_DRIP, output, width, limits.valve_max)

    def _test_flash(self, body, start):
        output, width = struct.unpack_from(wire.FORMAT_TEST_FLASH, body, start)
        limits = self._controller.limits
        if not is_flash(output) or not limits.has_output(output):
            return self._refuse(wire.REFUSAL_BAD_OUTPUT, output)
        return self._serve(wire.ACTIVITY_TEST_FLASH, output, width, limits.flash_max)

    def _rinse(self, body, start):
        output, width_ms, token = struct.unpack_from(wire.FORMAT_RINSE, body, start)
        controller = self._controller
        limits = controller.limits
        if not is_valve(output) or not limits.has_output(output):
            return self._refuse(wire.REFUSAL_BAD_OUTPUT, output)
        if width_ms == 0:
            return wire.REFUSAL_ZERO_WIDTH
        longest_ms = min(
            limits.rinse_max_ms, wire.HORIZON_TICKS // (limits.clock_hz // 1000 + 1) - 2000
        )
        if width_ms > longest_ms:
            return self._refuse(wire.REFUSAL_OVER_LIMIT, longest_ms)
        reason = self._not_free()
        if reason:
            return reason
        now = self._port.millis()
        fits = self._token_good and token == self._token and self._token_for == (output, width_ms)
        if not fits or ms_since(now, self._token_ms) > RINSE_TOKEN_MS:
            self._token = (self._token * 1103515245 + 12345) & 0x3FFFFFFF or 1
            self._token_for = (output, width_ms)
            self._token_ms = now
            self._token_good = True
            return self._refuse(wire.REFUSAL_UNCONFIRMED, self._token)
        reason = self._pulse(wire.ACTIVITY_RINSE, output, ms_to_ticks(width_ms, limits.clock_hz))
        if not reason:
            self._token_good = False
        return reason

    # -- slots and maintenance -----------------------------------------------------------------------------------
    def _slot_of(self, body, start, lowest=1):
        """The requested slot, if it exists and the board is free to read its files; otherwise None."""
        slot = body[start]
        if self._controller.activity != wire.ACTIVITY_NONE:
            self._refuse(wire.REFUSAL_BUSY, self._controller.activity)
            self._slot_reason = wire.REFUSAL_BUSY
            return None
        self._slot_reason = wire.REFUSAL_STORAGE
        return slot if lowest <= slot <= SLOTS and self._slots.available() else None

    def _slot_save(self, body, start):
        slot = self._slot_of(body, start)
        if slot is None:
            return self._slot_reason
        if self._controller.table.state != wire.TABLE_READY:
            return wire.REFUSAL_NO_TABLE
        return 0 if self._slots.save(slot, self._controller.table) else wire.REFUSAL_STORAGE

    def _slot_load(self, body, start):
        slot = self._slot_of(body, start)
        controller = self._controller
        if slot is None or not self._slots.load(slot, controller.spare):
            return self._slot_reason
        reason, self.fault_row, self.fault_detail = controller.commit_spare()
        if not reason:
            controller.set_state(wire.STATE_IDLE, wire.CAUSE_NONE, 0, 0)
        return reason

    def _slot_erase(self, body, start):
        slot = self._slot_of(body, start)
        return self._slot_reason if slot is None or not self._slots.erase(slot) else 0

    def _slot_choose(self, body, start):
        slot = self._slot_of(body, start, lowest=0)
        return self._slot_reason if slot is None or not self._slots.choose(slot) else 0

    def _maintenance(self, body, start):
        if self._controller.activity != wire.ACTIVITY_NONE:
            return self._refuse(wire.REFUSAL_BUSY, self._controller.activity)
        self.maintenance_asked = True  # once the answer is out
        return 0

    def next_slot(self):
        """The button was held: make the next slot that has a table for this board ready. Return None, or why not.

        While a host is there, only the host chooses: a press must fire what the host shows as armed.
        """
        controller = self._controller
        reason = self._not_free()
        if reason:
            return "refusal %d" % reason
        if self.link.session and ms_since(self._port.millis(), self.link.last_heard_ms) < HOST_MS:
            return "a host is connected"
        first = controller.table.slot
        for step in range(1, SLOTS + 1):
            slot = (first + step - 1) % SLOTS + 1
            if self._slots.load(slot, controller.spare) and not controller.commit_spare()[0]:
                controller.set_state(wire.STATE_IDLE, wire.CAUSE_NONE, 0, 0)
                return None
            self._slots.between_steps()
        return "no slot holds a table for this board"

    def press(self):
        """The button was pressed: release the ready table as a host would. Return 0 or why not.

        This ends a watch that a killed program left running.
        """
        controller = self._controller
        silent = ms_since(self._port.millis(), self.link.last_heard_ms)
        if controller.activity == wire.ACTIVITY_WATCH and silent > ORPHAN_MS:
            controller.watch(False)
        reason = self._not_free()
        if reason:
            return reason
        reason = self._start_shot(wire.BUTTON_RELEASE_BASE + self._presses + 1)
        if not reason:
            self._presses += 1
        return reason

    def _edge_constant(self, body, start):
        port = self._port
        asked_to_set = body[start]
        ticks = body[start + 1]
        if asked_to_set > 1:
            return wire.REFUSAL_BAD_PAYLOAD
        if asked_to_set:
            if ticks > port.edge_constant_max or not port.edge_constant_max:
                return self._refuse(wire.REFUSAL_OVER_LIMIT, port.edge_constant_max)
            if self._controller.activity != wire.ACTIVITY_NONE:
                return self._refuse(wire.REFUSAL_BUSY, self._controller.activity)
            if not self._slots.save_constant(ticks):
                return wire.REFUSAL_STORAGE
            self._controller.use_edge_constant(ticks)
        return answers.edge_constant(self.link, port)

    def _readings(self, body, start):
        controller = self._controller
        if controller.activity != wire.ACTIVITY_NONE:
            return self._refuse(wire.REFUSAL_BUSY, controller.activity)
        return answers.readings(self.link, controller, self._port.readings, body[start])

    # -- answers that say more than yes or no --------------------------------------------------------------------
    def _status(self, body, start):
        return answers.status(
            self.link, self._port, self._controller, self._store, self.boot_id, self._uptime_ms()
        )

    def _slots_are(self, body, start):
        return answers.slots(self.link, self._slots)

    def note_time(self):
        """Note the time, in every step: the port's clock wraps after 2^30 ms, but the uptime must not."""
        now = self._port.millis()
        if now < self._noted_ms:
            self._turns += 1
        self._noted_ms = now

    def _uptime_ms(self):
        self.note_time()
        return (self._turns << 30 | self._noted_ms) & 0xFFFFFFFF

    def welcome(self):
        answers.welcome(self.link, self._port, self._profile, self._controller, self.boot_id)
