"""Finds out what is wrong: tests by the board, questions to the person beside the rig."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from beamfall.board import Board
from beamfall.errors import WrongValue
from beamfall.faults.origin import Origin, Source
from beamfall.faults.questions import CannotTell, Listen, Person, Question, leave_out
from beamfall.faults.setup import Setup, make_setup
from beamfall.planning.belief import Belief
from beamfall.setup.rig import Rig
from beamfall.setup.sequence import Sequence
from beamfall.workflows.steps import Consult, Event, People, Workflow
from beamfall.workflows.steps import Question as Asked

if TYPE_CHECKING:
    from beamfall.faults.checks import Check
    from beamfall.faults.finder import Finding, Step

CANNOT_TELL = "cannot-tell"
READY, DONE = "ready", "done"


@dataclass(frozen=True)
class TestAhead(Event):
    """A test begins; it may take seconds, and the flash may rest for a minute first."""

    __test__ = False  # not one of pytest's

    check: Check


@dataclass(frozen=True)
class TestMade(Event):
    """A test was made; `ranked` are the causes with their present chances."""

    __test__ = False

    step: Step
    ranked: tuple[tuple[str, float], ...]


# -- questions at the rig --------------------------------------------------------------------------------------
@dataclass(frozen=True)
class Agree(Asked[str]):
    """Drops will fall and the flash will fire: has everyone been warned?"""

    cautions: tuple[str, ...]
    choices = (READY,)

    def read(self, text: str) -> str:
        return READY


@dataclass(frozen=True)
class AtRig(Asked[str]):
    """A question about the rig. `caution`: the part of its caution not given yet; `again`: it was asked before."""

    question: Question
    caution: str = ""
    again: bool = False

    @property
    def text(self) -> str:
        """What is asked or to be done, from the catalogue."""
        return self.question.text

    def read(self, text: str) -> str:
        """Raises CannotTell if somebody cannot tell, or cannot do it."""
        given = text.strip()
        if given == CANNOT_TELL and CANNOT_TELL in self.choices:
            raise CannotTell
        if given not in self.choices:
            raise WrongValue(
                f"'{given}': expected one of {', '.join(self.choices)}",
                of="answer", found=given, choices=self.choices,
            )  # fmt: skip
        return given


@dataclass(frozen=True)
class GetReady(AtRig):
    """Get ready for the question, and say that you are."""

    choices = (READY, CANNOT_TELL)

    @property
    def text(self) -> str:
        return self.question.before


@dataclass(frozen=True)
class DoIt(AtRig):
    """Do what the text says, now, while the board watches; `listen` is called repeatedly meanwhile."""

    listen: Listen = lambda seconds: None
    choices = (DONE, CANNOT_TELL)


@dataclass(frozen=True)
class Look(AtRig):
    """Answer `question.text`. `simulated`: the answer that a look at the simulated rig gives, if there is one."""

    simulated: str | None = None

    @property
    def choices(self) -> tuple[str, ...]:
        return (*self.question.answers, CANNOT_TELL)


@dataclass(frozen=True)
class PutBack(AtRig):
    """Do what `question.after` says."""

    choices = (DONE,)


class PersonAtRig:
    """Implements `beamfall.faults.questions.Person`: asks people through the front end.

    `hands`, behind a simulated port, do what is asked for in the simulated room and say what is to be seen
    there; `alone`: they answer, too, and nobody is asked.
    """

    def __init__(self, people: People, hands: Person | None = None, *, alone: bool = False) -> None:
        self._people = people
        self._hands = hands
        self._alone = alone and hands is not None
        self._told: set[str] = set()
        self._asked: set[str] = set()
        self._again = False

    def begin(self, cautions: tuple[str, ...]) -> None:
        if not self._alone:
            self._people.ask(Agree(cautions))
        self._told.update(cautions)

    def prepare(self, question: Question) -> None:
        self._again = question.name in self._asked
        self._asked.add(question.name)
        if question.before and not self._alone:
            self._ask(GetReady, question)
        if self._hands is not None:
            self._hands.prepare(question)

    def act(self, question: Question, listen: Listen) -> None:
        if not self._alone:  # what the board reports meanwhile belongs to the test
            self._ask(DoIt, question, listen=listen)
        if self._hands is not None:
            self._hands.act(question, listen)

    def answer(self, question: Question) -> str:
        seen = None if self._hands is None else self._hands.answer(question)
        if self._alone and seen is not None:
            return seen
        return self._ask(Look, question, simulated=seen)

    def finish(self, question: Question) -> None:
        if question.after and not self._alone:
            self._people.ask(PutBack(question))
        if self._hands is not None:
            self._hands.finish(question)

    def _ask(self, kind: Callable[..., AtRig], question: Question, **more: object) -> str:
        caution = leave_out(question.caution, self._told)
        if caution:
            self._told.add(caution)
        again, self._again = self._again, False
        return self._people.ask(kind(question, caution, again, **more))


def find_hands(board: Board, setup: Setup, *, wrong_share: float = 0.0) -> Person | None:
    """Who can see and touch the rig that a port brings with it; None beside a real one."""
    studio = board.traits.studio
    if studio is None:
        return None
    return studio.find_helper(
        valve=setup.valve_number,
        beam=setup.beam_number,
        flash=setup.flash_number,
        wrong_share=wrong_share,
    )


def set_up(
    board: Board,
    rig: Rig,
    sequence: Sequence | None = None,
    *,
    timings: Origin | None = None,
    learned: Belief | None = None,
) -> Setup:
    """`make_setup` with what is dialled in at the rig, which is then what its `timings` say."""
    setup = make_setup(rig, sequence, timings=timings, learned=learned)
    changed = board.traits.as_set(setup.sequence)
    if changed == setup.sequence:
        return setup
    return replace(setup, sequence=changed, timings=Origin(Source.SIMULATED_RIG))


def check(
    board: Board, setup: Setup, *, hands: Person | None = None, alone: bool = False
) -> Workflow[Finding]:
    """Look for what is wrong with a setup; `hands` and `alone` as of `PersonAtRig`."""
    from beamfall.faults.finder import look

    def do(people: People) -> Finding:
        return look(
            board,
            setup,
            PersonAtRig(people, hands, alone=alone),
            tell=lambda step, ranked: people.show(TestMade(step, tuple(ranked))),
            begins=lambda one: people.show(TestAhead(one)),
        )

    finding: Finding = yield Consult(do)
    return finding
