"""The board, the setup and the person together: does what tests ask for, over a line that may not hold."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from typing import TYPE_CHECKING, TypeVar

from beamfall.errors import BoardRestarted, LinkError, Refused, ReleaseUnknown
from beamfall.events import EdgesSeen
from beamfall.faults.evidence import Pulse, find_pulses

if TYPE_CHECKING:
    from beamfall.board import Board
    from beamfall.events import Edge, Event, Outcome
    from beamfall.faults.questions import Person, Question
    from beamfall.faults.setup import Setup

_Result = TypeVar("_Result")
_TRIES = 3
_LIGHT, _BUTTON = 11, 12  # signals, protocol/messages.toml
_BEAM = 8  # beam n is signal 8 + n
CONTACT_S = 0.002


class Bench:
    """What tests work with. `lost` and `restarted` say what has happened to the line and the board."""

    def __init__(self, board: Board, setup: Setup, person: Person) -> None:
        self.board = board
        self.setup = setup
        self.person = person
        self.lost = False
        self.restarted = False
        self.asked = 0  # how often the person was asked something, or to do something
        self._flashed_s = float("-inf")
        self.begin()

    @property
    def hz(self) -> int:
        return self.board.info.clock_hz

    def attempt(self, action: Callable[[], _Result]) -> _Result | None:
        """Do something, anew where the line or the board failed in between; None when it never ended."""
        for _ in range(_TRIES):
            try:
                return action()
            except BoardRestarted:
                self.restarted = True
            except (LinkError, ReleaseUnknown):
                self._come_back()
        return None

    def _come_back(self) -> None:
        """Open the line anew, with whatever was under way put off."""
        boot = self.board.info.boot_id
        for _ in range(_TRIES):
            try:
                self.board.link.reopen()
                self.board.abort()
            except BoardRestarted:
                break
            except LinkError:
                continue
            break
        if self.board.info.boot_id == boot:
            self.lost = True
        else:
            self.restarted = True

    def begin(self) -> None:
        """Begin to take note of what happens to line and board."""
        self.lost = self.restarted = False
        self._reconnections = self.board.counters.reconnections
        self._boot = self.board.info.boot_id

    def look_back(self) -> None:
        """Bring `lost` and `restarted` up to date: the board object mends some losses by itself."""
        if self.board.info.boot_id != self._boot:
            self.restarted = True
        elif self.board.counters.reconnections > self._reconnections:
            self.lost = True

    # -- the person --------------------------------------------------------------------------------------------
    def ask(self, question: Question) -> str:
        """Have a question answered."""
        self.asked += 1
        return self.person.answer(question)

    def have_done(self, question: Question) -> None:
        """Have the person do something, while the board listens."""
        self.asked += 1
        self.person.act(question)

    # -- looking -----------------------------------------------------------------------------------------------
    def is_dark(self) -> bool:
        """Whether the beam is dark now."""
        return bool(self.board.status().beams_dark >> (self.setup.beam_number - 1) & 1)

    def watch(self, seconds: float, meanwhile: Callable[[], None] | None = None) -> list[Edge]:
        """Watch the inputs for a while; `meanwhile` is done once the watch is on."""
        board = self.board
        board.pump(0.0)
        board.watch(True)
        edges: list[Edge] = []
        try:
            if meanwhile is not None:
                meanwhile()
            end = board.transport.clock() + seconds
            while (left := end - board.transport.clock()) > 1e-6:
                edges += _edges_in(board.pump(min(left, 1.0)))
        finally:
            board.watch(False)
        edges += _edges_in(board.pump(0.1))
        board.take_outcomes()
        return edges

    def beam_edges(self, edges: list[Edge]) -> list[Edge]:
        """Those of the beam looked at."""
        return [edge for edge in edges if edge.signal == _BEAM + self.setup.beam_number]

    def pulses(self, edges: tuple[Edge, ...] | list[Edge], *, dark: bool) -> list[Pulse]:
        """Pulses of the beam, which was `dark` or clear before."""
        return find_pulses(edges, _BEAM + self.setup.beam_number, self.hz, int(dark))

    def lights(self, edges: tuple[Edge, ...]) -> list[Pulse]:
        """Light that the flash-seen input saw."""
        return find_pulses(edges, _LIGHT, self.hz, 0)

    def button_edges(self, edges: list[Edge]) -> int:
        """How often the button's line changed."""
        return sum(edge.signal == _BUTTON for edge in edges)

    # -- doing -------------------------------------------------------------------------------------------------
    def drip(self) -> Outcome:
        """One drop."""
        return self.board.drip(self.setup.valve_number, self.setup.valve.opening_s)

    def flash(self, *, rested: bool = True) -> Outcome:
        """One flash; `rested`: when it has surely recycled."""
        if rested:
            self.rest_flash()
        contact = self.setup.flash.contact_s if self.setup.flash else CONTACT_S
        outcome = self.board.test_flash(self.setup.flash_number, contact)
        self.note_flash()
        return outcome

    def note_flash(self) -> None:
        """Remember that the flash has just fired."""
        self._flashed_s = self.board.transport.clock()

    def rest_flash(self) -> None:
        """Wait until the flash has had the rest that its rig file asks for, and as much again."""
        recycle = self.setup.flash.recycle_s if self.setup.flash else 0.0
        ready = self._flashed_s + max(2.0 * recycle, self.setup.rig.aim.rest_s)
        left = ready - self.board.transport.clock()
        if 0.0 < left < 1e6:
            self.board.sleep(left)

    def shoot(self) -> tuple[Outcome | None, str]:
        """Fire the whole sequence; the outcome (None: refused because the beam is dark) and how it ended."""
        self.rest_flash()
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
