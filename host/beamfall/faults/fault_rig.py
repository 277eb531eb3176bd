"""The board, the setup and the person together: does what tests ask for, over a connection that may fail."""

from __future__ import annotations

import contextlib
from collections.abc import Callable, Iterable
from typing import TypeVar

from beamfall.board import Board
from beamfall.errors import (
    BeamfallError,
    BoardRestarted,
    LinkError,
    Refused,
    ReleaseUnknown,
    ShotError,
    UserError,
)
from beamfall.events import Edge, EdgesSeen, Event, Outcome, ShotDone
from beamfall.faults.evidence import Pulse, find_pulses, share_dark
from beamfall.faults.questions import Listen, Person, Question
from beamfall.faults.setup import Setup
from beamfall.setup.signals import Signal, SignalKind

_Result = TypeVar("_Result")
_TRIES = 3
_ALIVE_S = 1.0  # how often the board gets a sign of life while this host listens
_SHORTEST_S = 1e-6  # less than a tick of a virtual clock never passes
_CLEARED = ("in_fault", "busy")  # refusals that an abort cures
CONTACT_S = 0.002
_RESTS, _RESTS_UNSEEN = 2.0, 10.0  # recycling times between flashes
WATCH_ENDED = "the board stopped watching the beam on its own"


def list_sensors(board: Board, setup: Setup) -> tuple[bool, bool]:
    """Whether the board has a flash-seen sensor and a button, and the rig file says that they are fitted."""
    fitted = setup.rig.fitted
    return (
        board.info.has(Signal.light1) and fitted.flash_seen,
        board.info.has(Signal.button1) and fitted.button,
    )


class FaultRig:
    """What tests work with. `lost` and `restarted` say what has happened to the line and the board.

    `opened`: the valve was driven meanwhile.
    `trouble` says why the last attempt brought nothing; empty if it did.
    """

    def __init__(self, board: Board, setup: Setup, person: Person) -> None:
        self.board = board
        self.setup = setup
        self.person = person
        self.sees_light, _ = list_sensors(board, setup)
        self.lost = False
        self.restarted = False
        self.opened = False
        self.trouble = ""
        self.asked = 0  # how often the person was asked something, or to do something
        self._flashed_s = float("-inf")
        self.begin()

    @property
    def hz(self) -> int:
        return self.board.info.clock_hz

    def attempt(self, action: Callable[[], _Result]) -> _Result | None:
        """Do something, again if the line or the board failed meanwhile; None if it was never completed.

        A board in the fault state is brought out of it first; the readings of whatever was running are then
        discarded. What the board, or this library for it, refuses for good is not tried again: see `trouble`.
        """
        for _ in range(_TRIES):
            try:
                result = action()
            except BoardRestarted as error:
                self.trouble = str(error)
                self.restarted = True
            except (LinkError, ReleaseUnknown) as error:
                self.trouble = str(error)
                self._come_back()
            except ShotError as error:
                self.trouble = str(error)
                self._clear_fault()
            except Refused as refusal:
                self.trouble = str(refusal)
                if refusal.reason not in _CLEARED:
                    return None
                self._clear_fault()
            except UserError as error:  # the rig file asks for more than this board allows
                self.trouble = str(error)
                return None
            else:
                self.trouble = ""
                return result
        return None

    def _clear_fault(self) -> None:
        """Abort what is running; the board is idle after that, whatever caused its fault."""
        try:
            self.board.abort()
        except BoardRestarted:
            self.restarted = True
        except LinkError:
            self._come_back()
        except Refused as refusal:
            self.trouble = str(refusal)

    def _come_back(self) -> None:
        """Open the line again, with everything switched off."""
        boot = self.board.info.boot_id
        for _ in range(_TRIES):
            try:
                self.board.link.reopen()
                self.board.abort()
            except BoardRestarted:
                break
            except (LinkError, Refused):
                continue
            break
        if self.board.info.boot_id == boot:
            self.lost = True
        else:
            self.restarted = True

    def begin(self) -> None:
        """Start noting what happens to line and board."""
        self.lost = self.restarted = self.opened = False
        self.trouble = ""
        self._reconnections = self.board.counters.reconnections
        self._boot = self.board.info.boot_id

    def look_back(self) -> None:
        """Bring `lost` and `restarted` up to date: the board object recovers from some losses by itself."""
        if self.board.info.boot_id != self._boot:
            self.restarted = True
        elif self.board.counters.reconnections > self._reconnections:
            self.lost = True

    # -- the person --------------------------------------------------------------------------------------------
    def ask(self, question: Question) -> str:
        """Ask the person a question and return the answer."""
        self.asked += 1
        return self.person.answer(question)

    def have_done(self, question: Question) -> Callable[[Listen], None]:
        """For `watch` to do meanwhile: the person does something while this host listens to the board."""

        def act(listen: Listen) -> None:
            self.asked += 1
            self.person.act(question, listen)

        return act

    # -- looking -----------------------------------------------------------------------------------------------
    def is_dark(self) -> bool:
        """Whether the beam is dark now."""
        return bool(self.board.status().beams_dark >> (self.setup.beam_number - 1) & 1)

    def watch(
        self, seconds: float, meanwhile: Callable[[Listen], None] | None = None
    ) -> list[Edge]:
        """Watch the inputs for a while; `meanwhile` is done once the watch is on, however long it takes.

        Raises ShotError if the board ended the watch by itself: what it saw is then not all there was.
        """
        board = self.board
        board.pump(0.0)
        board.take_outcomes()
        board.watch(True)
        edges: list[Edge] = []
        heard_s = board.transport.clock()

        def listen(for_s: float) -> None:
            nonlocal heard_s
            clock = board.transport.clock
            end_s = clock() + for_s
            while (left_s := end_s - clock()) > _SHORTEST_S:
                edges.extend(_edges_in(board.pump(min(left_s, _ALIVE_S))))
                if clock() - heard_s >= _ALIVE_S:
                    board.status()
                    heard_s = clock()

        try:
            if meanwhile is not None:
                meanwhile(listen)
            listen(seconds)
        except BaseException:
            with contextlib.suppress(BeamfallError):
                board.watch(False)
            raise
        board.watch(False)
        ended: list[ShotDone] = []
        for _ in range(_TRIES):
            edges += _edges_in(board.pump(0.1))
            ended = [one.done for one in board.take_outcomes() if one.done.activity.name == "watch"]
            if ended:
                break
        if not ended or ended[0].state.name == "fault" or ended[0].cause.name == "aborted":
            why = ended[0].cause.label if ended else "the reason is unknown"
            raise ShotError(f"{WATCH_ENDED}: {why}")
        return edges

    @property
    def beam(self) -> Signal:
        """The beam looked at."""
        return SignalKind.BEAM.nth(self.setup.beam_number)

    def beam_edges(self, edges: list[Edge]) -> list[Edge]:
        """Those of the beam looked at."""
        return [edge for edge in edges if edge.signal is self.beam]

    def pulses(self, edges: tuple[Edge, ...] | list[Edge], *, dark: bool) -> list[Pulse]:
        """Pulses of the beam, which was `dark` or clear before."""
        return find_pulses(edges, self.beam, self.hz, int(dark))

    def dark_share(self, edges: list[Edge], *, dark: bool, seconds: float) -> float:
        """The share of the time for which the beam was dark."""
        return share_dark(edges, self.beam, self.hz, dark=dark, seconds=seconds)

    def lights(self, edges: tuple[Edge, ...]) -> list[Pulse]:
        """Light that the flash-seen input saw; none if `sees_light` is false."""
        return find_pulses(edges, Signal.light1, self.hz, 0)

    # -- doing -------------------------------------------------------------------------------------------------
    def drip(self) -> Outcome:
        """One drop."""
        self.opened = True
        return self.board.drip(self.setup.valve_number, self.setup.valve.opening_s)

    def flash(self, *, rested: bool = True) -> Outcome:
        """One flash; `rested`: only once it has certainly recycled."""
        if rested:
            self.rest_flash()
        contact = self.setup.flash.contact_s if self.setup.flash else CONTACT_S
        outcome = self.board.test_flash(self.setup.flash_number, contact)
        self.note_flash()
        return outcome

    def flash_soon(self, fired_s: float) -> Outcome:
        """One flash, one and a half times the rig file's recycling time after the one at `fired_s`."""
        recycle = self.setup.flash.recycle_s if self.setup.flash else 0.0
        again = fired_s + 1.5 * recycle + 0.05
        self.board.sleep(max(0.0, again - self.board.transport.clock()))
        return self.flash(rested=False)

    def note_flash(self) -> None:
        """Remember that the flash has just fired."""
        self._flashed_s = self.board.transport.clock()

    def rest_flash(self) -> None:
        """Wait for twice the recycling time in the rig file.

        Without a sensor, wait much longer: a person looks only once, and must not mistake a slow flash for a
        dead one.
        """
        recycle = self.setup.flash.recycle_s if self.setup.flash else 0.0
        times = _RESTS if self.sees_light else _RESTS_UNSEEN
        ready = self._flashed_s + max(times * recycle, self.setup.rig.aim.rest_s)
        left = ready - self.board.transport.clock()
        if 0.0 < left < 1e6:
            self.board.sleep(left)

    def shoot(self) -> tuple[Outcome | None, str]:
        """Fire the whole sequence; the outcome (None: refused because the beam is dark) and how it ended."""
        self.rest_flash()
        self.opened = True
        try:
            outcome = self.board.shoot(self.setup.sequence)
        except Refused as refusal:
            if refusal.reason != "beam_blocked":
                raise
            return None, "blocked"
        self.note_flash()
        if outcome.done.state.name == "fired":
            return outcome, "fired"
        return outcome, "no-edge" if outcome.done.cause.name == "no_edge" else "few-edges"


def _edges_in(events: Iterable[Event]) -> list[Edge]:
    return [edge for event in events if isinstance(event, EdgesSeen) for edge in event.edges]
