"""Faults put into firmware and host library, each of which the state machine must find: shots and limits; the rest is
in machine_mutations_told.py."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import machine_mutations_told  # noqa: F401 - its mutations join the list
from machine_mutating import MUTATIONS, Patch, firmware, mutation, wire

from beamfall.board import Board, Ticket
from beamfall.errors import BoardRestarted, NoAnswer, ReleaseUnknown
from beamfall.link import Link
from beamfall.sim.firmware_modules import load_firmware
from beamfall.wire import Message, get_codec

__all__ = ["MUTATIONS"]


# -- shots -------------------------------------------------------------------------------------------------------------
@mutation("the board never shoots: commit refuses every table")
def _refuse_every_table(patch: Patch) -> None:
    patch.setattr(firmware("Controller"), "commit", lambda self: (wire().REFUSAL_DUTY, 0, 0))


@mutation("the board takes a table with rows missing")
def _run_half_a_table(patch: Patch) -> None:
    table = firmware("Table")
    patch.setattr(table, "first_missing", lambda self: -1)
    patch.setattr(table, "digest_fits", lambda self: True)


@mutation("the board runs a table before its commit", "Requests", "_start_shot")
def _run_before_commit(original: Any, self: Any, number: int) -> Any:
    if self._controller.table.state == wire().TABLE_PARTIAL:
        self._controller.table.state = wire().TABLE_READY
    return original(self, number)


@mutation("a release runs whatever table is ready", "Requests", "_release")
def _ignore_the_digest(original: Any, self: Any, body: bytearray, start: int) -> Any:
    body[start + 8 : start + 24] = self._controller.table.digest
    return original(self, body, start)


@mutation("a table is committed in the middle of a drip")
def _commit_whatever_goes_on(patch: Patch) -> None:
    for name, of in (("commit", "Controller"), ("_table_commit", "Requests")):
        original = getattr(firmware(of), name)

        def commit(self: Any, *args: Any, original: Any = original) -> Any:
            controller = getattr(self, "_controller", self)
            activity, controller.activity = controller.activity, wire().ACTIVITY_NONE
            try:
                return original(self, *args)
            finally:
                controller.activity = activity

        patch.setattr(firmware(of), name, commit)


@mutation("the board carries repeats of a request out again", "Link", "_request")
def _forget_numbers(original: Any, self: Any, reader: Any) -> None:
    if reader.number == self._number:
        self._number -= 1
    original(self, reader)


@mutation("the board forgets the numbers of releases, too")
def _forget_release_numbers(patch: Patch) -> None:
    _forget_numbers(patch)
    controller = firmware("Controller")
    original = controller.release

    def release(self: Any, number: int) -> int:
        reason: int = original(self, number)
        self.last_release = 0
        return reason

    patch.setattr(controller, "release", release)


@mutation("the board takes requests of any session", "Link", "_request")
def _take_any_session(original: Any, self: Any, reader: Any) -> None:
    reader.session = self.session
    original(self, reader)


@mutation("the host takes a settled release for one that has not run", Link, "settle_release")
def _repeat_a_release_that_ran(
    original: Any, self: Link, boot_id: int, release: int, *more: Any
) -> bool:
    original(self, boot_id, release, *more)
    return False


@mutation("the host sends a release that got no answer again under a new number", Link, "_recover")
def _resend_under_a_new_number(
    original: Any, self: Link, message: Message, perhaps_done: bool, *more: Any
) -> Message:
    if message.name != "release":
        return original(self, message, perhaps_done, *more)
    welcome = self.reopen()
    fields = {**message.fields, "release": welcome.last_release + 1}
    return self._request(Message("release", fields), may_recover=False)


@mutation("the host calls an unknown release one that has not run", Board, "release")
def _call_an_unknown_release_refused(
    original: Any, self: Board, ticket: Ticket, **options: Any
) -> None:
    try:
        original(self, ticket, **options)
    except ReleaseUnknown as error:
        raise BoardRestarted("it was not carried out") from error


@mutation("the host leaves a release without an answer open", Link, "_recover")
def _leave_a_lost_release_to_guessing(
    original: Any, self: Link, message: Message, perhaps_done: bool, *more: Any
) -> Message:
    """The old fault: after eight tries without an answer the host gave up."""
    if message.name == "release":
        raise NoAnswer("no answer")
    return original(self, message, perhaps_done, *more)


@mutation("the host takes another program's release for its own")
def _take_another_programs_release(patch: Patch) -> None:
    """The old fault: the number on the board was taken as enough."""
    patch.setattr(Link, "_check_that_it_was_ours", lambda self, release: None)


# -- off, and within limits --------------------------------------------------------------------------------------------
@mutation("an abort leaves the outputs as they are")
def _keep_outputs_in_an_abort(patch: Patch) -> None:
    def abort(self: Any) -> None:
        self.activity = 0
        self.state = 0

    patch.setattr(firmware("Controller"), "abort", abort)


@mutation("an abort is ignored once the last awaited edge has come", "Controller", "abort")
def _ignore_an_abort_in_fired(original: Any, self: Any) -> None:
    if self.state != wire().STATE_FIRED:
        original(self)


@mutation("an exception leaves the outputs as they are")
def _keep_outputs_in_a_fault(patch: Patch) -> None:
    def trouble(self: Any, error: Exception) -> None:
        self.controller.state, self.controller.cause = 4, 10

    patch.setattr(load_firmware().board, "_trouble", trouble)


@mutation("the board never misses its host")
def _never_miss_the_host(patch: Patch) -> None:
    patch.setattr(firmware("Controller"), "check_host", lambda self, silent_ms: None)


@mutation("the board misses its host ten times too late", "Controller", "check_host")
def _miss_the_host_late(original: Any, self: Any, silent_ms: int) -> None:
    original(self, silent_ms // 10)


@mutation("a shot of the button ends with a host that falls silent", "Controller", "check_host")
def _miss_a_host_that_is_not_needed(original: Any, self: Any, silent_ms: int) -> None:
    original(self, silent_ms)
    _end_with_host(self, silent_ms, wire().ACTIVITY_SHOT)


@mutation("a watch ends with a host that falls silent", "Controller", "check_host")
def _end_a_watch_with_its_host(original: Any, self: Any, silent_ms: int) -> None:
    original(self, silent_ms)
    _end_with_host(self, silent_ms, wire().ACTIVITY_WATCH)


def _end_with_host(controller: Any, silent_ms: int, activity: int) -> None:
    if controller.activity == activity and 0 < controller.host_timeout_ms < silent_ms:
        controller.fail(wire().CAUSE_LOST_HOST)


@mutation("an installer is let in in the middle of a shot")
def _let_in_at_any_time(patch: Patch) -> None:
    def let_in(self: Any, body: bytearray, start: int) -> int:
        self._port.enter_maintenance()
        return 0

    patch.setattr(firmware("Requests"), "_maintenance", let_in)


@mutation("the board does not look at widths")
def _trust_widths(patch: Patch) -> None:
    patch.setattr(firmware("Limits"), "longest", lambda self, output: 1 << 30)


def _change_limit(patch: Patch, name: str, factor: int) -> None:
    limits = firmware("Limits")
    original = limits.__init__

    def init(self: Any, profile: Any, port: Any) -> None:
        original(self, profile, port)
        setattr(self, name, getattr(self, name) * factor)

    patch.setattr(limits, "__init__", init)


@mutation("a valve's limit is ten times too long")
def _valve_limit(patch: Patch) -> None:
    _change_limit(patch, "valve_max", 10)


@mutation("a rinse's limit is twice too long")
def _rinse_limit(patch: Patch) -> None:
    _change_limit(patch, "rinse_max_ms", 2)


@mutation("a rinse needs no confirmation", "Requests", "_rinse")
def _rinse_at_once(original: Any, self: Any, body: bytearray, start: int) -> Any:
    output, width_ms, token = _unpack_rinse(body, start)
    self._token, self._token_good, self._token_for = token, True, (output, width_ms)
    self._token_ms = self._port.millis()
    return original(self, body, start)


def _unpack_rinse(body: bytearray, start: int) -> tuple[int, int, int]:
    fields = get_codec().decode("rinse", bytes(body[start : start + 9])).fields
    return int(fields["output"]), fields["width_ms"], fields["token"]


@mutation("the duty is not looked at")
def _no_duty(patch: Patch) -> None:
    patch.setattr(firmware("Budget"), "_duty_wait", lambda self, table, valve: 0)


@mutation("the duty looks at half a window", "Budget", "__init__")
def _half_a_duty_window(original: Any, self: Any, *args: Any) -> None:
    original(self, *args)
    self._window_ms //= 2


@mutation("outputs need no rest between service actions")
def _no_rest(patch: Patch) -> None:
    patch.setattr(firmware("Budget"), "_rest_ms", lambda self, output, now_ms: 0)


@mutation("the host repeats a service action whose answer is lost", Link, "_find")
def _serve_again(original: Any, self: Link, message: Message) -> Any:
    return replace(original(self, message), repeat="always")
