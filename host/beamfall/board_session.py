"""The session with a board: requests, reports, waiting until what runs has ended, and leaving the board safe.

`beamfall.board.Board` adds the requests for particular actions.
"""

from __future__ import annotations

import contextlib
import math
from collections import deque
from collections.abc import Callable, Iterator
from dataclasses import replace
from typing import Self

from beamfall.board_values import Status
from beamfall.errors import (
    FRAMES,
    BeamfallError,
    BoardRestarted,
    LinkError,
    LinkLost,
    NoAnswer,
    Refused,
    ShotError,
)
from beamfall.events import (
    Event,
    KeptOutcomes,
    Outcome,
    OutcomeCollector,
    Readings,
    Trouble,
    make_event,
)
from beamfall.interrupts import check_stop
from beamfall.link import Link, LinkCounters, LinkTiming, PortTraits, Report, Transport, Welcome
from beamfall.link.session import go_on
from beamfall.wire import Message

_LOOK_S = 1.0  # how often a waiting host asks for the status, which also tells the board that the host is alive
_BETWEEN_S = 0.1  # how often a stop request is checked while waiting for a shot
_SHORTEST_S = 1e-6
# For a program that is ending
_HURRIED = LinkTiming(first_s=0.1, growth=1.0, longest_s=0.1, tries=100)
ABORT_S = 0.7  # how long an ending program waits for the board to confirm an abort
# After this silence during a shot or a service action, the board switches its outputs off
HOST_TIMEOUT_S = 5.0
_HELD_REPORTS = 5  # delivered reports that stay unacknowledged until their shot is settled
_EVENTS_KEPT = 2000  # the newest ones that the caller has not taken yet
_TROUBLES_KEPT = 1000  # the newest ones; a board that repeats itself for hours must not fill memory
_READINGS_S = 1.0  # how long to wait for optional data of a shot
_WAIT_LONGEST_S = 30.0  # no duty limit or flash rest takes longer than this


class BoardSession:
    """A board over an open link: what all its actions have in common."""

    def __init__(self, link: Link) -> None:
        self.link = link  # for anything that this class does not do
        self.info = link.welcome or link.open()  # what the board reports about itself
        self._boot_id = self.info.boot_id
        self._ready: bytes | None = None  # digest of the table known to be ready in this boot
        self._collector = OutcomeCollector()
        self._outcomes = KeptOutcomes()
        self._events: deque[Event] = deque(maxlen=_EVENTS_KEPT)
        self._last_seen = self._acknowledged = self.info.oldest_report - 1
        self._last_release = self.info.last_release
        self._closed = False
        self._reads_coils: bool | None = None  # not known yet
        self._give_up_s = math.inf
        self._host_timeout_s = HOST_TIMEOUT_S
        self._timeout_told: Welcome | None = None  # the session in which the timeout was set
        self.troubles: list[Trouble] = []

    @property
    def name(self) -> str:
        """The port's name."""
        return self.link.name

    @property
    def counters(self) -> LinkCounters:
        """What happened on the link, counted."""
        return self.link.counters

    @property
    def transport(self) -> Transport:
        return self.link.transport

    @property
    def traits(self) -> PortTraits:
        """The port's time and chance, and the rig that some ports bring with them."""
        return self.link.transport.traits

    def close(self) -> None:
        """Close the port. The board continues what it is doing; call `abort` first to stop it."""
        self._closed = True
        self.link.close()

    def __enter__(self) -> Self:
        return self

    def __exit__(self, kind: object, error: BaseException | None, *_: object) -> None:
        if isinstance(error, Exception) and not isinstance(error, BeamfallError):
            setattr(error, FRAMES, self.link.describe_recent())  # a bug in the program
        if kind is not None and not self._closed:
            # Whatever went wrong, try once more to switch outputs off; show the first error.
            try:
                with self.giving_up_after(ABORT_S):
                    self.abort()
            except BeamfallError:
                assert error is not None
                error.add_note(
                    f"{self.name} did not confirm that its outputs are off. Look at the rig; "
                    "switch the valves' supply off if anything is still on."
                )
        self.close()

    @contextlib.contextmanager
    def giving_up_after(self, seconds: float) -> Iterator[None]:
        """Make every request and wait within the block raise NoAnswer after `seconds`.

        For a program that must stop: it has to end soon, even if the board does not answer.
        """
        before = self._give_up_s
        self._give_up_s = min(before, self.transport.clock() + seconds)
        try:
            yield
        finally:
            self._give_up_s = before

    def _check_patience(self) -> None:
        if self.transport.clock() >= self._give_up_s:
            raise NoAnswer(f"{self.name} did not answer in time")

    # -- asking ------------------------------------------------------------------------------------------------
    def _request(
        self, name: str, between: Callable[[], None] = go_on, /, **fields: object
    ) -> Message:
        def check() -> None:
            self._check_patience()
            between()

        try:
            if not self._closed and not self.link.is_open and self.link.can_reconnect:
                self.link.reopen(check)
            timing = None if math.isinf(self._give_up_s) else _HURRIED
            return self.link.request(Message(name, fields), between=check, timing=timing)
        finally:
            # Also after an error: everything known from before a restart is void.
            self._follow_link()

    def _follow_link(self) -> None:
        """Note a new session: the link may have opened one, also for a caller who uses it directly."""
        if self.link.welcome is not self.info:
            self._take_welcome()

    def _take_welcome(self) -> None:
        """Note a new session of this board: it may have restarted."""
        welcome = self.link.welcome
        assert welcome is not None
        self.info = welcome
        self._last_release = max(self._last_release, welcome.last_release)
        if welcome.boot_id != self._boot_id:
            self._boot_id = welcome.boot_id
            self._ready = None
            self._last_seen = self._acknowledged = welcome.oldest_report - 1
            self._collector = OutcomeCollector()
            self._last_release = welcome.last_release

    def status(self) -> Status:
        """Ask for the board's status."""
        status = Status(**self._request("status").fields)
        if status.digest != self._ready:  # another program, or another board at the same port
            self._ready = None
        return status

    @property
    def ready_digest(self) -> bytes | None:
        """The digest of the table that this program has put on the board and that is still ready there."""
        return self._ready

    def abort(self) -> None:
        """Switch all outputs off now, whatever is running."""
        self._request("abort")

    def set_host_timeout(self, seconds: float) -> None:
        """Set how long this host may be silent during a shot or a service action before the board switches its
        outputs off; 0 means no limit.

        The default is HOST_TIMEOUT_S: after a pulled cable or a killed program nothing stays on for long.
        """
        self._host_timeout_s = seconds
        self._request("set_host_timeout", timeout_ms=round(seconds * 1000))
        self._timeout_told = self.info

    def _keep_host_timeout(self) -> None:
        """Set the timeout if the board does not have it; the board forgets it with its session."""
        self._follow_link()
        if self._timeout_told is not self.info:
            self.set_host_timeout(self._host_timeout_s)

    # -- reports -----------------------------------------------------------------------------------------------
    def pump(self, timeout_s: float) -> list[Event]:
        """Return the board's reports as events; wait at most `timeout_s` for the first.

        A lost port is opened again if possible; otherwise this raises LinkLost.
        """
        events: list[Event] = []
        for report in self._pump_link(timeout_s):
            event = make_event(report)
            events.append(event)
            if report.boot_id == self._boot_id:
                self._last_seen = report.number
            if isinstance(event, Trouble):
                self.troubles.append(event)
                del self.troubles[:-_TROUBLES_KEPT]
            outcome = self._collector.take(report.boot_id, event)
            if outcome is not None:
                self._outcomes.add(outcome)
            if self._last_seen - self._acknowledged > _HELD_REPORTS:
                self._acknowledge(self._last_seen)
        self._events.extend(events)
        return events

    def _pump_link(self, timeout_s: float) -> list[Report]:
        self._follow_link()
        can_reopen = self.link.can_reconnect and not self._closed
        try:
            if self.link.is_open or not can_reopen:
                return self.link.pump(timeout_s)
        except LinkLost:
            if not can_reopen:
                raise
        self.link.reopen()
        self._take_welcome()
        return self.link.pump(timeout_s)

    def _acknowledge(self, through: int) -> None:
        self._acknowledged = through
        self.link.acknowledge(through)

    def settle(self) -> None:
        """Acknowledge all reports so far: they are kept here, and the board may forget them."""
        self._follow_link()
        if self._last_seen > self._acknowledged:
            self._acknowledge(self._last_seen)

    def events(self, timeout_s: float) -> Iterator[Event]:
        """Yield events as they come, until none has come for `timeout_s`. Yielded events are acknowledged."""
        while True:
            if not self._events:
                self.pump(timeout_s)
            if not self._events:
                return
            yield self._events.popleft()
            if not self._events:
                self.settle()

    def take_outcomes(self) -> list[Outcome]:
        """Return outcomes that no caller waited for: of button shots, or from before this host connected."""
        return self._outcomes.take()

    # -- waiting -----------------------------------------------------------------------------------------------
    def sleep(self, seconds: float, *, between: Callable[[], None] = go_on) -> None:
        """Let time pass on the board's clock while listening, with an occasional sign of life.

        `between` is called at least ten times a second meanwhile; an exception from it ends the sleep.
        """
        check_stop()
        clock = self.transport.clock
        end = clock() + seconds
        asked = clock()
        # On a virtual clock, less than a tick never passes.
        while (left := end - clock()) > _SHORTEST_S:
            self.pump(min(left, _BETWEEN_S))
            check_stop()
            between()
            if clock() - asked >= _LOOK_S and left > 2 * _LOOK_S:
                asked = clock()
                self.status()

    def _patiently(
        self, name: str, between: Callable[[], None] = go_on, /, **fields: object
    ) -> Message:
        """Carry out an action after the rest that the board asks for; never after a request to stop."""

        def check() -> None:
            check_stop()
            between()

        waited = 0.0
        while True:
            check()
            try:
                return self._request(name, check, **fields)
            except Refused as refusal:
                if refusal.reason != "too_soon" or waited >= _WAIT_LONGEST_S:
                    raise
                pause = min(max(refusal.detail, 1) / 1000, _WAIT_LONGEST_S)
                waited += pause
                self.sleep(pause, between=between)

    def _wait(
        self, activity: str, number: int | None, boot_id: int, between: Callable[[], None] = go_on
    ) -> Outcome:
        idle_looks = 0
        while True:
            end = self.transport.clock() + _LOOK_S
            while (left := end - self.transport.clock()) > 0:
                self.pump(min(left, _BETWEEN_S))
                outcome = self._outcomes.claim(activity, number, boot_id)
                if outcome is not None:
                    return self._complete(outcome)
                self._check_patience()
                between()
            self._keep_host_timeout()  # the release itself may have opened a new session
            status = self.status()
            if status.boot_id != boot_id:
                raise BoardRestarted(
                    f"the board restarted during {activity} {number or ''}: its outputs are off, and its record is lost"
                )
            running = status.activity.name == activity
            unseen = status.reports_kept - (self._last_seen - self._acknowledged)
            idle_looks = 0 if running or unseen > 0 else idle_looks + 1
            if idle_looks > 1:
                raise ShotError(
                    f"the board has no report of {activity} {number or ''}: it was dropped because memory was full; "
                    "read the board's shots more often"
                )

    @property
    def reads_coils(self) -> bool:
        """Whether the board measures coil current and supply voltage; asked once, False before it has answered."""
        if self._reads_coils is None:
            with contextlib.suppress(LinkError, Refused, ShotError):
                self._reads_coils = self._ask_readings(0)["most"] > 0
        return bool(self._reads_coils)

    def _ask_readings(self, part: int) -> Message:
        with self.giving_up_after(_READINGS_S):
            return self._request("readings", part=part)

    def _complete(self, outcome: Outcome) -> Outcome:
        """The outcome with what the coils showed. Whoever stops this meanwhile finds the outcome again afterwards."""
        try:
            return replace(outcome, readings=self._read_coils(outcome))
        except BaseException:
            self._outcomes.add(outcome)
            raise

    def _read_coils(self, outcome: Outcome) -> tuple[Readings, ...]:
        """Ask what the board measured around each opening; an outcome is complete without an answer."""
        done, found = outcome.done, list[Readings]()
        opens = done.activity.name in ("shot", "drip", "rinse")
        try:
            while opens and self.reads_coils:
                answer = self._ask_readings(len(found))
                ours = (answer["activity"], answer["release"]) == (done.activity, done.release)
                if not ours or not answer["readings"]:
                    break
                currents, voltages = zip(*answer["readings"], strict=True)
                found.append(
                    Readings(answer["start_ticks"], answer["spacing_ticks"], currents, voltages)
                )
                opens = len(found) < answer["parts"]
        except (LinkError, Refused, ShotError):
            return ()
        return tuple(found)

    def to_ticks(self, seconds: float) -> int:
        """Return a time in ticks of the board's clock, rounded half to even."""
        return round(seconds * self.info.clock_hz)
