"""The steps of a workflow: what it wants done, asked and shown. They carry data; front ends make the words.

A workflow is a generator. It yields a step, `run.Runner` carries it out and sends back the result:

    begun    Begin        -> the number of the series
    shots    Fire         -> Fired
    notes    Remark       -> None
    pictures KeepMeasured -> None
    service  Drip, TestFlash, HoldOpen -> Outcome (HoldOpen: None if somebody said no)
    people   Ask          -> the answer, read by its question; Consult -> what its function returns
    news     any Event    -> None; front ends show it

The functions at the end wrap the steps so that their answers have types: `fired = yield from fire(sequence)`.
"""

from __future__ import annotations

from collections.abc import Callable, Generator, Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any, Generic, Protocol, TypeVar

from beamfall.errors import CameraError, UserError
from beamfall.events import Outcome
from beamfall.link.traits import Picture
from beamfall.planning.rows import build_warm_up
from beamfall.setup.rig import Rig
from beamfall.setup.sequence import Sequence
from beamfall.shots import SeriesLine, ShotRecord
from beamfall.shots.remarks import list_remarks
from beamfall.workflows.series import WARM_UP

if TYPE_CHECKING:
    from beamfall.photos.arrival import Arrived, Late, NewPicture

T = TypeVar("T")
A = TypeVar("A")

#: A workflow that ends with a T.
Workflow = Generator[Any, Any, T]

YES, NO, NONE = "yes", "no", "none"


# -- what the runner does --------------------------------------------------------------------------------------
@dataclass(frozen=True)
class Begin:
    """Begin a series in the log, or resume one; say first that flashes will fire.

    `rest_s` is the rest between its shots, after warm-up drops too; None: the rig's. `flashes` is a sequence
    of the series where it has one, `repeated` whether more than one shot is to come.
    """

    kind: str
    rig: Rig | None
    settings: Mapping[str, Any] = field(default_factory=dict)
    rest_s: float | None = None
    flashes: Sequence | None = None
    repeated: bool = False
    resumes: SeriesLine | None = None


@dataclass(frozen=True)
class Fire:
    """Fire one shot of the series, as soon as the surface has settled and the flash has recycled.

    `settled`: whether the surface must have settled since a shot of an earlier series.
    """

    sequence: Sequence
    swept: Mapping[str, Any] | None = None
    settled: bool = True


@dataclass(frozen=True)
class Remark:
    """Write a note beside a shot in the log."""

    shot: int
    text: str


@dataclass(frozen=True)
class KeepMeasured:
    """Keep in the log what was measured in a shot's photograph; None removes it."""

    shot: int
    measured: Mapping[str, Any] | None


@dataclass(frozen=True)
class Drip:
    """Let one drop of a valve (counted from 1) fall."""

    valve: int
    opening_s: float


@dataclass(frozen=True)
class TestFlash:
    """Fire a flash (counted from 1) once, as soon as it has recycled."""

    __test__ = False  # not one of pytest's

    flash: int
    contact_s: float
    rig: Rig


@dataclass(frozen=True)
class HoldOpen:
    """Hold a valve open to fill or rinse it, once somebody has confirmed it."""

    valve: int
    duration_s: float


@dataclass(frozen=True)
class Ask(Generic[A]):
    """Ask a person."""

    question: Question[A]


@dataclass(frozen=True)
class Consult(Generic[T]):
    """Do something that asks people and shows things while it runs, and send back its result."""

    do: Callable[[People], T]


# -- questions -------------------------------------------------------------------------------------------------
class Question(Generic[A]):
    """Something that a person answers with a text. `choices` names the answers that there are."""

    @property
    def choices(self) -> tuple[str, ...]:
        """The answers; empty if any text will do."""
        return ()

    @property
    def otherwise(self) -> str | None:
        """The answer if nobody is there to give one; None if the workflow cannot continue without a person."""
        return None

    def read(self, text: str) -> A:
        """Return what a text means; raises UserError if it is not an answer, and the question is asked again."""
        raise NotImplementedError


class YesNo(Question[bool]):
    """A question that is answered by yes or no, or by two other words; their first letters will do."""

    choices = (YES, NO)

    def read(self, text: str) -> bool:
        given = text.strip().lower()
        for word in self.choices:
            if given and word.startswith(given):
                return word == self.choices[0]
        raise UserError(f"'{text.strip()}': answer {' or '.join(self.choices)}")


@dataclass(frozen=True)
class ContainerBelow(YesNo):
    """Is a container under the valve, which will stay open for so long?"""

    valve: int
    duration_s: float


@dataclass(frozen=True)
class WhichPicture(Question["NewPicture | None"]):
    """Which of these pictures shows the shot? Answered by a file's name or its number from 1, or by `none`."""

    shot: int
    pictures: tuple[NewPicture, ...]
    otherwise = NONE

    @property
    def choices(self) -> tuple[str, ...]:
        return (*(one.file.name for one in self.pictures), NONE)

    def read(self, text: str) -> NewPicture | None:
        given = text.strip()
        if given.lower() == NONE:
            return None
        for number, one in enumerate(self.pictures, 1):
            if given in (one.file.name, str(number)):
                return one
        raise UserError(f"'{given}': answer 1 to {len(self.pictures)}, or none")


class FrontEnd(Protocol):
    """Shows a workflow to people: a terminal, a page, a script."""

    def ask(self, question: Question[Any], problem: str) -> str:
        """Return a person's answer as text. `problem` says what was wrong with the one before; empty at first."""

    def show(self, event: Event) -> None:
        """Show what has happened, or is about to."""


class People:
    """The people in front of a front end."""

    def __init__(self, front_end: FrontEnd) -> None:
        self._front_end = front_end

    def ask(self, question: Question[A]) -> A:
        """Ask until the answer can be read."""
        problem = ""
        while True:
            text = self._front_end.ask(question, problem)
            try:
                return question.read(text)
            except UserError as error:
                problem = str(error)

    def show(self, event: Event) -> None:
        """Show them something."""
        self._front_end.show(event)


# -- what is shown ---------------------------------------------------------------------------------------------
class Event:
    """Something that has happened, or is about to: shown, and not answered."""


@dataclass(frozen=True)
class FlashesAhead(Event):
    """Flashes are about to fire: `repeated`; `flicker` warns of more flashes in a second than are safe."""

    repeated: bool
    flicker: str = ""


@dataclass(frozen=True)
class SeriesBegun(Event):
    """A series has begun or goes on; `resumed`: one that was stopped."""

    series: int
    kind: str
    resumed: bool = False


@dataclass(frozen=True)
class DropsFallen(Event):
    """All drops have fallen; now the calibration is calculated, which takes seconds."""

    series: int
    count: int


@dataclass(frozen=True)
class WarmingUp(Event):
    """That many drops of each valve fall first, without flash."""

    drops: int


@dataclass(frozen=True)
class Waiting(Event):
    """Nothing is fired for at most `seconds` of the board's time; 0: the wait is over."""

    seconds: float


@dataclass(frozen=True)
class Progress(Event):
    """How many shots of how many are done; of what, if the workflow has a name for it."""

    done: int
    of: int


@dataclass(frozen=True)
class Fired(Event):
    """A shot has ended and is in the log. `picture`: what the port's own camera saw, where it has one.

    `photo`: the picture that has arrived for it; None until `Pictured`, and where none has.
    """

    series: int
    rig: Rig | None
    sequence: Sequence
    record: ShotRecord
    swept: Mapping[str, Any] | None = None
    picture: Picture | None = None
    photo: Arrived | None = None

    @property
    def shot(self) -> int:
        """Its number in the log."""
        assert self.record.shot is not None
        return self.record.shot

    @property
    def sees_light(self) -> bool:
        """Whether its rig has a flash-seen sensor; also True where the rig is not known."""
        return self.rig is None or self.rig.fitted.flash_seen

    @property
    def remarks(self) -> list[str]:
        """What is odd about it."""
        return list_remarks(self.record, sees_light=self.sees_light)

    @property
    def is_warm_up(self) -> bool:
        """Whether it only let drops fall before a series."""
        return WARM_UP in (self.swept or {})


@dataclass(frozen=True)
class AwaitingPicture(Event):
    """The picture of a shot is waited for, `seconds` at most."""

    shot: int
    seconds: float


@dataclass(frozen=True)
class Pictured(Event):
    """The wait for a shot's picture is over: `fired.photo` is in the log, or `problem` says why there is none.

    `remarks`: settings of the camera that spoil the shot, as sentences.
    """

    fired: Fired
    problem: CameraError | None = None
    remarks: tuple[str, ...] = ()


@dataclass(frozen=True)
class PictureLate(Event):
    """Files came between two shots: a picture of the earlier one, which is in the log now; and of no shot."""

    late: Late


@dataclass(frozen=True)
class ShotStopped(Event):
    """The newest shot of a series did not come to its end here; the log says what is known about it."""

    series: int


@dataclass(frozen=True)
class Remarked(Event):
    """A shot has a note now."""

    shot: int
    text: str


# -- steps with the type of their answers --------------------------------------------------------------------
def begin(step: Begin) -> Workflow[int]:
    """Begin a series; return its number."""
    series: int = yield step
    return series


def fire(
    sequence: Sequence, swept: Mapping[str, Any] | None = None, *, settled: bool = True
) -> Workflow[Fired]:
    """Fire one shot."""
    fired: Fired = yield Fire(sequence, swept, settled)
    return fired


def let_drops_fall(rig: Rig, count: int) -> Workflow[Fired | None]:
    """Let `count` drops of every valve fall without flash, before a series; None if `count` is 0."""
    drops = build_warm_up(rig, count)
    if drops is None:
        return None
    yield WarmingUp(count)
    return (yield from fire(drops, {WARM_UP: count}))


def ask(question: Question[A]) -> Workflow[A]:
    """Ask a person."""
    answer: A = yield Ask(question)
    return answer


def serve(step: Drip | TestFlash | HoldOpen) -> Workflow[Outcome | None]:
    """Make the board do a single action."""
    outcome: Outcome | None = yield step
    return outcome
