"""A complete board: store, controller, link, and the loop that keeps them running whatever happens."""

import sys

from beamfall_board import wire_definition as wire
from beamfall_board.button import HELD, PRESSED, STUCK, Button
from beamfall_board.controller import Controller
from beamfall_board.link import Link, ms_since
from beamfall_board.payloads import clip_text
from beamfall_board.requests import Requests
from beamfall_board.rhythm import light_is_on
from beamfall_board.slots import Slots
from beamfall_board.store import ReportStore

STORE_BYTES = 8192
IDLE_MS = 1000
BUTTON_LOOK_MS = 10
SAME_TROUBLE_MS = 10000  # the same text again this soon must not use up room for other reports


class Board:
    def __init__(self, port, profile, cause=wire.CAUSE_RESTARTED, folder=None, open_time=None):
        """`folder` is where slots are kept, or None. `open_time`: see Budget."""
        self.port = port
        self.store = ReportStore(STORE_BYTES)
        self.store.set_shot_end(wire.MSG_SHOT_DONE)
        self.controller = Controller(port, profile, self.store, open_time)
        self.controller.cause = cause
        self.slots = Slots(folder)
        self.requests = Requests(port, profile, self.controller, self.store, self.slots)
        self.link = Link(port, self.store, self.requests, self.requests.welcome)
        self.requests.link = self.link
        self._name = clip_text(profile.NAME)
        self._last_trouble = ""
        self._last_trouble_ms = 0
        self._button = Button() if wire.SIGNAL_BUTTON1 in profile.INPUTS else None
        self.requests.button = self._button
        constant = self.slots.constant()
        if 0 <= constant <= port.edge_constant_max:
            self.controller.use_edge_constant(constant)
        self._load_chosen()

    def _load_chosen(self):
        """Load the chosen slot's table, so that the board can be used without a host."""
        slot = 0
        try:
            slot = self.slots.chosen()
            spare = self.controller.spare
            bad = slot and (not self.slots.load(slot, spare) or self.controller.commit_spare()[0])
        except Exception as error:  # noqa: BLE001 - whatever the file system holds, the board must start
            report_exception(error)
            bad = True
        if bad:
            self._say("slot %d cannot be loaded: it is empty, damaged or not for this board" % slot)

    def step(self):
        """One pass over everything. An exception switches the outputs off and becomes a fault with its text."""
        try:
            self.requests.note_time()
            self.link.poll()
            self.controller.step()
            self.controller.check_host(ms_since(self.port.millis(), self.link.last_heard_ms))
            self._look_at_button()
            self.link.poll()  # send the step's reports before the loop sleeps
            activity = self.controller.activity
            if activity == wire.ACTIVITY_NONE or activity == wire.ACTIVITY_WATCH:
                self.link.beacon(self.requests.boot_id, self.port.unique_id, self._name)
            if activity == wire.ACTIVITY_NONE:
                if self.requests.maintenance_asked and not self.link.unsent():
                    self.requests.maintenance_asked = False  # if it is impossible, try only once
                    self.port.outputs_off()
                    self.port.enter_maintenance()
            self.port.set_light(
                light_is_on(
                    self.controller.state,
                    self.controller.activity,
                    self.controller.table.state == wire.TABLE_READY,
                    self.port.millis(),
                    self.controller.table.slot,
                )
            )
        except Exception as error:  # noqa: BLE001 - catch everything: an output could be on
            self._trouble(error)

    def _look_at_button(self):
        if self._button is None:
            return
        act = self._button.look(self.port.button_down(), self.port.millis())
        if act == PRESSED:
            reason = self.requests.press()
            if reason:
                self._say("the button released nothing: refusal %d" % reason)
        elif act == HELD:
            why = self.requests.next_slot()
            if why:
                self._say("the button chose no slot: %s" % why)
        elif act == STUCK:
            self._say("the button was closed at the start: it does nothing until it opens")

    def _say(self, text):
        payload = clip_text(text)
        self.store.add(wire.MSG_TROUBLE, bytes([len(payload)]) + payload, 0, len(payload) + 1)

    def _trouble(self, error):
        """Switch the outputs off, then report the fault, then its text, even if an earlier step fails."""
        self.port.outputs_off()
        try:
            self.controller.fail(wire.CAUSE_INTERNAL)
        except Exception as second:  # noqa: BLE001 - even this may fail: outputs stay off, the link stays up
            report_exception(second)
            # If this raises too, the main loop ends, and the watchdog restarts the board.
            self.controller.give_up(wire.CAUSE_INTERNAL)
        try:
            self._tell(error)
        except Exception as second:  # noqa: BLE001 - out of memory, most likely
            report_exception(second)
        report_exception(error)

    def _tell(self, error):
        text = "%s: %s" % (type(error).__name__, error)
        now = self.port.millis()
        again = ms_since(now, self._last_trouble_ms) < SAME_TROUBLE_MS
        if text != self._last_trouble or not again:
            self._last_trouble = text
            self._last_trouble_ms = now
            self._say(text)

    def wake_ms(self):
        longest = IDLE_MS
        if self._button is not None and self._button.settling(self.port.button_down()):
            longest = BUTTON_LOOK_MS
        return self.link.wake_ms(self.controller.wake_ms(longest))

    def run(self):
        """The main loop; only a stop from outside ends it (an exception that is no Exception)."""
        try:
            while True:
                self.step()
                self.port.feed_watchdog()  # fed only here: a step that hangs ends in a restart
                try:
                    self.port.idle(self.wake_ms())
                except Exception as error:  # noqa: BLE001 - as in a step
                    self._trouble(error)
        finally:
            self.port.outputs_off()


def report_exception(error):
    """Print the details where somebody can read them; the wire carries the short form."""
    show = getattr(sys, "print_exception", None)
    if show is not None and sys.platform == "linux":
        show(error, sys.stderr)
