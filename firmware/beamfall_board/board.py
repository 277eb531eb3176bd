"""A board put together: store, controller, link, and the loop that keeps them going whatever happens."""

import sys

from beamfall_board import wire_definition as wire
from beamfall_board.controller import Controller
from beamfall_board.link import Link, ms_since
from beamfall_board.requests import Requests
from beamfall_board.store import ReportStore

STORE_BYTES = 8192
IDLE_MS = 1000


class Board:
    def __init__(self, port, profile, cause=wire.CAUSE_RESTARTED):
        self.port = port
        self.store = ReportStore(STORE_BYTES)
        self.store.set_shot_end(wire.MSG_SHOT_DONE)
        self.controller = Controller(port, profile, self.store)
        self.controller.cause = cause
        self.requests = Requests(port, profile, self.controller, self.store)
        self.link = Link(port, self.store, self.requests, self.requests.welcome)
        self.requests.link = self.link

    def step(self):
        """One pass over everything. An exception puts the outputs off and becomes a fault with its text."""
        try:
            self.link.poll()
            self.controller.step()
            self.controller.check_host(ms_since(self.port.millis(), self.link.last_heard_ms))
            self.link.poll()  # what the step has to say goes out before the loop sleeps
        except Exception as error:  # noqa: BLE001 - nothing may pass while an output could be on
            self._trouble(error)

    def _trouble(self, error):
        self.port.outputs_off()
        text = "%s: %s" % (type(error).__name__, error)
        payload = text.encode()[: wire.TEXT_MAX]
        self.store.add(wire.MSG_TROUBLE, bytes([len(payload)]) + payload, 0, len(payload) + 1)
        try:
            self.controller.fail(wire.CAUSE_INTERNAL)
        except Exception as second:  # noqa: BLE001 - even the way out may be broken: stay off, stay talking
            self.controller.activity = wire.ACTIVITY_NONE
            self.controller.set_state(wire.STATE_FAULT, wire.CAUSE_INTERNAL, 0, 0)
            report_exception(second)
        report_exception(error)

    def wake_ms(self):
        return self.link.wake_ms(self.controller.wake_ms(IDLE_MS))

    def run(self):
        """The main loop; returns only by an exception that is not an Exception (a stop from outside)."""
        try:
            while True:
                self.step()
                self.port.feed_watchdog()
                self.port.idle(self.wake_ms())
        finally:
            self.port.outputs_off()


def report_exception(error):
    """Say more where somebody can read it; the wire has had the short form."""
    show = getattr(sys, "print_exception", None)
    if show is not None and sys.platform == "linux":
        show(error, sys.stderr)
