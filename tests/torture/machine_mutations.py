"""Faults put into firmware and host library, each of which the state machine must find."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest

from beamfall.board import Board, Ticket
from beamfall.errors import BoardRestarted, NoAnswer, ReleaseUnknown
from beamfall.link import Link, session
from beamfall.link.delivery import ReportOrder, Verdict
from beamfall.link.firmware_modules import load_firmware
from beamfall.wire import Message, get_codec

Patch = pytest.MonkeyPatch
MUTATIONS: dict[str, Callable[[Patch], None]] = {}


def _mutation(name: str) -> Callable[[Callable[[Patch], None]], Callable[[Patch], None]]:
    def keep(mutate: Callable[[Patch], None]) -> Callable[[Patch], None]:
        MUTATIONS[name] = mutate
        return mutate

    return keep


def _firmware(name: str) -> Any:
    """A class of the firmware that the simulated board runs."""
    names = load_firmware().board.__init__.__globals__
    for where in (names, *(names[n].__init__.__globals__ for n in ("Requests", "Controller"))):
        if name in where:
            return where[name]
    raise KeyError(name)


def _wire() -> Any:
    return _firmware("wire")


# -- shots -------------------------------------------------------------------------------------------------------------
@_mutation("the board never shoots: commit refuses every table")
def _refuse_every_table(patch: Patch) -> None:
    patch.setattr(_firmware("Controller"), "commit", lambda self: (_wire().REFUSAL_DUTY, 0, 0))


@_mutation("the board takes a table with rows missing")
def _run_half_a_table(patch: Patch) -> None:
    table = _firmware("Table")
    patch.setattr(table, "first_missing", lambda self: -1)
    patch.setattr(table, "digest_fits", lambda self: True)


@_mutation("the board runs a table before its commit")
def _run_before_commit(patch: Patch) -> None:
    requests = _firmware("Requests")
    original = requests._start_shot

    def start(self: Any, number: int) -> int:
        if self._controller.table.state == _wire().TABLE_PARTIAL:
            self._controller.table.state = _wire().TABLE_READY
        reason: int = original(self, number)
        return reason

    patch.setattr(requests, "_start_shot", start)


@_mutation("a release runs whatever table is ready")
def _ignore_the_digest(patch: Patch) -> None:
    requests = _firmware("Requests")
    original = requests._release

    def release(self: Any, body: bytearray, start: int) -> int:
        body[start + 8 : start + 24] = self._controller.table.digest
        reason: int = original(self, body, start)
        return reason

    patch.setattr(requests, "_release", release)


@_mutation("a table is committed in the middle of a drip")
def _commit_whatever_goes_on(patch: Patch) -> None:
    for name, of in (("commit", "Controller"), ("_table_commit", "Requests")):
        original = getattr(_firmware(of), name)

        def commit(self: Any, *args: Any, original: Any = original) -> Any:
            controller = getattr(self, "_controller", self)
            activity, controller.activity = controller.activity, _wire().ACTIVITY_NONE
            try:
                return original(self, *args)
            finally:
                controller.activity = activity

        patch.setattr(_firmware(of), name, commit)


@_mutation("the board carries repeats of a request out again")
def _forget_numbers(patch: Patch) -> None:
    link = _firmware("Link")
    original = link._request

    def request(self: Any, reader: Any) -> None:
        if reader.number == self._number:
            self._number -= 1
        original(self, reader)

    patch.setattr(link, "_request", request)


@_mutation("the board forgets the numbers of releases, too")
def _forget_release_numbers(patch: Patch) -> None:
    _forget_numbers(patch)
    controller = _firmware("Controller")
    original = controller.release

    def release(self: Any, number: int) -> int:
        reason: int = original(self, number)
        self.last_release = 0
        return reason

    patch.setattr(controller, "release", release)


@_mutation("the board takes requests of any session")
def _take_any_session(patch: Patch) -> None:
    link = _firmware("Link")
    original = link._request

    def request(self: Any, reader: Any) -> None:
        reader.session = self.session
        original(self, reader)

    patch.setattr(link, "_request", request)


@_mutation("the host takes a settled release for one that has not run")
def _repeat_a_release_that_ran(patch: Patch) -> None:
    original = Link.settle_release

    def settle(self: Link, boot_id: int, release: int) -> bool:
        original(self, boot_id, release)
        return False

    patch.setattr(Link, "settle_release", settle)


@_mutation("the host sends a release that got no answer again under a new number")
def _resend_under_a_new_number(patch: Patch) -> None:
    original = Link._recover

    def recover(self: Link, message: Message, perhaps_done: bool) -> Message:
        if message.name != "release":
            return original(self, message, perhaps_done)
        welcome = self.reopen()
        fields = {**message.fields, "release": welcome.last_release + 1}
        return self._request(Message("release", fields), may_recover=False)

    patch.setattr(Link, "_recover", recover)


@_mutation("the host calls an unknown release one that has not run")
def _call_an_unknown_release_refused(patch: Patch) -> None:
    original = Board.release

    def release(self: Board, ticket: Ticket) -> None:
        try:
            original(self, ticket)
        except ReleaseUnknown as error:
            raise BoardRestarted("it was not carried out") from error

    patch.setattr(Board, "release", release)


@_mutation("the host leaves a release without an answer open")
def _leave_a_lost_release_to_guessing(patch: Patch) -> None:
    """The fault that was: no answer in eight tries was the end of it."""

    original = Link._recover

    def recover(self: Link, message: Message, perhaps_done: bool) -> Message:
        if message.name == "release":
            raise NoAnswer("no answer")
        return original(self, message, perhaps_done)

    patch.setattr(Link, "_recover", recover)


# -- off, and within limits --------------------------------------------------------------------------------------------
@_mutation("an abort leaves the outputs as they are")
def _keep_outputs_in_an_abort(patch: Patch) -> None:
    def abort(self: Any) -> None:
        self.activity = 0
        self.state = 0

    patch.setattr(_firmware("Controller"), "abort", abort)


@_mutation("an abort is ignored once the last awaited edge has come")
def _ignore_an_abort_in_fired(patch: Patch) -> None:
    controller = _firmware("Controller")
    original = controller.abort

    def abort(self: Any) -> None:
        if self.state != _wire().STATE_FIRED:
            original(self)

    patch.setattr(controller, "abort", abort)


@_mutation("an exception leaves the outputs as they are")
def _keep_outputs_in_a_fault(patch: Patch) -> None:
    def trouble(self: Any, error: Exception) -> None:
        self.controller.state, self.controller.cause = 4, 10

    patch.setattr(load_firmware().board, "_trouble", trouble)


@_mutation("the board never misses its host")
def _never_miss_the_host(patch: Patch) -> None:
    patch.setattr(_firmware("Controller"), "check_host", lambda self, silent_ms: None)


@_mutation("the board misses its host ten times too late")
def _miss_the_host_late(patch: Patch) -> None:
    controller = _firmware("Controller")
    original = controller.check_host
    patch.setattr(controller, "check_host", lambda self, silent_ms: original(self, silent_ms // 10))


@_mutation("a shot of the button ends with a host that falls silent")
def _miss_a_host_that_is_not_needed(patch: Patch) -> None:
    controller = _firmware("Controller")
    original = controller.check_host

    def check(self: Any, silent_ms: int) -> None:
        original(self, silent_ms)
        under_way = self.activity == _wire().ACTIVITY_SHOT
        if under_way and 0 < self.host_timeout_ms < silent_ms:
            self.fail(_wire().CAUSE_LOST_HOST)

    patch.setattr(controller, "check_host", check)


@_mutation("a watch ends with a host that falls silent")
def _end_a_watch_with_its_host(patch: Patch) -> None:
    controller = _firmware("Controller")
    original = controller.check_host

    def check(self: Any, silent_ms: int) -> None:
        original(self, silent_ms)
        under_way = self.activity == _wire().ACTIVITY_WATCH
        if under_way and 0 < self.host_timeout_ms < silent_ms:
            self.fail(_wire().CAUSE_LOST_HOST)

    patch.setattr(controller, "check_host", check)


@_mutation("an installer is let in in the middle of a shot")
def _let_in_at_any_time(patch: Patch) -> None:
    def let_in(self: Any, body: bytearray, start: int) -> int:
        self._port.enter_maintenance()
        return 0

    patch.setattr(_firmware("Requests"), "_maintenance", let_in)


@_mutation("the board does not look at widths")
def _trust_widths(patch: Patch) -> None:
    patch.setattr(_firmware("Limits"), "longest", lambda self, output: 1 << 30)


def _change_limit(patch: Patch, name: str, factor: int) -> None:
    limits = _firmware("Limits")
    original = limits.__init__

    def init(self: Any, profile: Any, port: Any) -> None:
        original(self, profile, port)
        setattr(self, name, getattr(self, name) * factor)

    patch.setattr(limits, "__init__", init)


@_mutation("a valve's limit is ten times too long")
def _valve_limit(patch: Patch) -> None:
    _change_limit(patch, "valve_max", 10)


@_mutation("a rinse's limit is twice too long")
def _rinse_limit(patch: Patch) -> None:
    _change_limit(patch, "rinse_max_ms", 2)


@_mutation("a rinse needs no confirmation")
def _rinse_at_once(patch: Patch) -> None:
    requests = _firmware("Requests")
    original = requests._rinse

    def rinse(self: Any, body: bytearray, start: int) -> int:
        output, width_ms, token = _unpack_rinse(body, start)
        self._token, self._token_good, self._token_for = token, True, (output, width_ms)
        self._token_ms = self._port.millis()
        reason: int = original(self, body, start)
        return reason

    patch.setattr(requests, "_rinse", rinse)


def _unpack_rinse(body: bytearray, start: int) -> tuple[int, int, int]:
    fields = get_codec().decode("rinse", bytes(body[start : start + 9])).fields
    return int(fields["output"]), fields["width_ms"], fields["token"]


@_mutation("the duty is not looked at")
def _no_duty(patch: Patch) -> None:
    patch.setattr(_firmware("Budget"), "_duty_wait", lambda self, table, valve: 0)


@_mutation("the duty looks at half a window")
def _half_a_duty_window(patch: Patch) -> None:
    budget = _firmware("Budget")
    original = budget.__init__

    def init(self: Any, *args: Any) -> None:
        original(self, *args)
        self._window_ms //= 2

    patch.setattr(budget, "__init__", init)


@_mutation("outputs need no rest between service actions")
def _no_rest(patch: Patch) -> None:
    patch.setattr(_firmware("Budget"), "_rest_ms", lambda self, output, now_ms: 0)


@_mutation("the host repeats a service action whose answer is lost")
def _serve_again(patch: Patch) -> None:
    patch.setattr(session, "_ONCE", frozenset[str]())


# -- edges and reports -------------------------------------------------------------------------------------------------
@_mutation("the board leaves an edge out")
def _lose_an_edge(patch: Patch) -> None:
    buffer = _firmware("EdgeBuffer")
    original = buffer.add

    def add(self: Any, signal: int, mark: int, ticks: int) -> None:
        if not (signal == 2 and mark & 1):
            original(self, signal, mark, ticks)

    patch.setattr(buffer, "add", add)


@_mutation("the board drops the last edge of a shot of more than six, and counts one less")
def _lose_the_last_edge(patch: Patch) -> None:
    buffer = _firmware("EdgeBuffer")
    original = buffer.report

    def report(self: Any, activity: int, *args: int) -> None:
        if activity == _wire().ACTIVITY_SHOT and self.count > 6:
            self.count -= 1
        original(self, activity, *args)

    patch.setattr(buffer, "report", report)


@_mutation("the board changes the order of two edges")
def _reorder_edges(patch: Patch) -> None:
    buffer = _firmware("EdgeBuffer")
    original = buffer.report

    def report(self: Any, *args: int) -> None:
        if self.count > 3:
            for column in (self._signal, self._mark, self._ticks):
                column[1], column[2] = column[2], column[1]
        original(self, *args)

    patch.setattr(buffer, "report", report)


@_mutation("a watch leaves the last edge out of a full report, and counts one less")
def _lose_a_watched_edge(patch: Patch) -> None:
    watch = _firmware("Watch")
    original = watch.flush

    def flush(self: Any) -> None:
        self._edges.count = min(self._edges.count, _wire().EDGES_PER_REPORT - 1)
        original(self)

    patch.setattr(watch, "flush", flush)


@_mutation("a watch forgets that its clock has come round")
def _forget_a_turn(patch: Patch) -> None:
    watch = _firmware("Watch")
    original = watch._place

    def place(self: Any, ticks: int, waiting: int) -> int:
        found: int = original(self, ticks, waiting)
        self._base = 0
        return found

    patch.setattr(watch, "_place", place)


@_mutation("the board drops reports in silence")
def _drop_reports_in_silence(patch: Patch) -> None:
    store = _firmware("ReportStore")
    original = store._forget_oldest

    def forget(self: Any) -> None:
        original(self)
        self.gap_first = 0

    patch.setattr(store, "_forget_oldest", forget)


@_mutation("the host takes reports that are ahead")
def _deliver_what_is_ahead(patch: Patch) -> None:
    original = ReportOrder.take

    def take(self: ReportOrder, number: int, forgotten_from: int | None) -> Verdict:
        verdict = original(self, number, forgotten_from)
        if verdict is Verdict.AHEAD:
            self.expected = number + 1
            return Verdict.DELIVER
        return verdict

    patch.setattr(ReportOrder, "take", take)


@_mutation("a new host begins with whatever report comes first")
def _guess_the_count_of_reports(patch: Patch) -> None:
    """The fault that was: a host new to the board began with the first report that reached it."""
    original = ReportOrder.begin

    def begin(self: ReportOrder, boot_id: int, oldest_report: int) -> bool:
        known = self.boot_id
        restarted = original(self, boot_id, oldest_report)
        if boot_id != known:
            self.expected = None
        return restarted

    patch.setattr(ReportOrder, "begin", begin)


@_mutation("the host acknowledges one report too many")
def _acknowledge_one_too_many(patch: Patch) -> None:
    original = Link.acknowledge
    patch.setattr(Link, "acknowledge", lambda self, through: original(self, through + 1))


# -- slots and the button ----------------------------------------------------------------------------------------------
@_mutation("the board does not load its chosen slot")
def _start_with_nothing(patch: Patch) -> None:
    patch.setattr(load_firmware().board, "_load_chosen", lambda self: None)


@_mutation("the board says that it has saved a slot, and has not")
def _save_nothing(patch: Patch) -> None:
    patch.setattr(_firmware("Slots"), "save", lambda self, slot, table: True)


@_mutation("an erased slot keeps its table")
def _erase_nothing(patch: Patch) -> None:
    patch.setattr(_firmware("Slots"), "erase", lambda self, slot: True)


@_mutation("letting go of the button is a press, too")
def _press_twice(patch: Patch) -> None:
    button = _firmware("Button")
    original = button.pressed

    def pressed(self: Any, is_down: bool, now_ms: int) -> bool:
        down = self._down
        original(self, is_down, now_ms)
        return bool(self._down != down)

    patch.setattr(button, "pressed", pressed)


@_mutation("a contact that bounces is a press")
def _press_by_bouncing(patch: Patch) -> None:
    patch.setitem(_firmware("Button").pressed.__globals__, "SETTLE_MS", 0)
