"""What a search asks and shows, and how it ends."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any

from beamfall.planning.belief import Belief
from beamfall.planning.seek.answer import Answer, explain_words, read_answer
from beamfall.workflows.reading import Reading, read_marks
from beamfall.workflows.steps import Event, Fired, Question

if TYPE_CHECKING:
    from beamfall.planning.seek.search import Search

AGREED = ""  # an answer that agrees with what was read in the picture


@dataclass(frozen=True)
class Aim:
    """A shot of a search: its number of at most `most`, and its timings in s.

    `times_s`: each drop's opening since the first. `by_beam`: the delay counts from the last drop's beam edge,
    else from the first opening.
    """

    number: int
    most: int
    times_s: tuple[float, ...]
    delay_s: float
    by_beam: bool

    @property
    def spacing_s(self) -> float | None:
        """Opening 1 to opening 2; None with one drop."""
        return self.times_s[1] if len(self.times_s) > 1 else None

    def describe(self) -> str:
        """Its timings in words: `spacing 110.00 ms, flash 8.00 ms after drop 2 crosses the beam`."""
        crosses = f"drop {len(self.times_s)} crosses the beam"
        after = crosses if self.by_beam else "the first opening"
        return f"{self.say_openings()}flash {self.delay_s * 1e3:.2f} ms after {after}"

    def say_openings(self, digits: int = 2) -> str:
        """The openings after the first one, to begin a line about a shot; empty with one drop."""
        if len(self.times_s) < 2:
            return ""
        later = ", ".join(f"{at * 1e3:.{digits}f}" for at in self.times_s[1:])
        return f"{'spacing' if len(self.times_s) == 2 else 'openings'} {later} ms, "


@dataclass(frozen=True)
class Marked:
    """Marks that a person has set, in pixels: the picture is read again with them, and shown before it counts."""

    marks: Mapping[str, float]


@dataclass(frozen=True)
class WhatIsSeen(Question[Answer | Marked]):
    """What does the picture of this shot show?

    `reading`: what was read in the photograph that has arrived; an empty answer agrees with it, and a mark in pixels
    (`tip 512`) has it read again. `said`: what was said before, where somebody should look at the picture a second
    time, since a lot depends on it; an empty answer keeps it.
    """

    aim: Aim
    fired: Fired
    reading: Reading | None = None
    said: Answer | None = None

    @property
    def choices(self) -> tuple[str, ...]:
        return tuple(explain_words(len(self.aim.times_s)))

    @property
    def proposed(self) -> Answer | None:
        """The answer that an empty one agrees with: what was said before, or what was read."""
        return self.said or (None if self.reading is None else self.reading.answer)

    @property
    def otherwise(self) -> str | None:
        return None if self.proposed is None else AGREED

    def read(self, text: str) -> Answer | Marked:
        given = text.strip().lower()
        if given == AGREED and self.proposed is not None:
            return self.proposed
        marks = {} if self.reading is None else read_marks(given)
        return Marked(marks) if marks else read_answer(text, len(self.aim.times_s))


@dataclass(frozen=True)
class SearchBegun(Event):
    """A search has begun; `begins_apart`: its first spacing may be another than the plan's."""

    most: int
    begins_apart: bool


@dataclass(frozen=True)
class ShotAhead(Event):
    """A shot is about to be fired."""

    aim: Aim


@dataclass(frozen=True)
class Misfired(Event):
    """A shot did not fire; `in_a_row` counts such shots."""

    fired: Fired
    in_a_row: int


@dataclass(frozen=True)
class PictureRead(Event):
    """What was read in the photograph of a shot."""

    fired: Fired
    reading: Reading


@dataclass(frozen=True)
class Answered(Event):
    """What a shot has taught. `answer` is None if its picture could teach nothing: `useless` says why.

    `chance`: that this picture is the one wanted; `chances`: the same of this and earlier ones, by their shots, as this
    answer has changed them. `misfit`: the answers hardly fit the rig file.
    """

    aim: Aim
    fired: Fired
    answer: Answer | None
    useless: str | None
    chance: float
    misfit: bool = False
    chances: Mapping[int, float] = field(default_factory=dict)

    @property
    def teaches(self) -> bool:
        """Whether the search has learned from it."""
        return self.answer is not None and self.answer.word != "black"


@dataclass(frozen=True)
class LookedAgain(Event):
    """Somebody has looked at a picture again. `answered`: what it teaches now; `before`: what was said first."""

    answered: Answered
    before: Answer


@dataclass(frozen=True)
class SearchStopped(Event):
    """Ctrl-C has ended a search after so many answers; `kept` and `belief` as in `Sought`."""

    answers: int
    kept: Path | None
    belief: Belief | None


@dataclass(frozen=True)
class Truth:
    """The truth about a search on a simulated rig: the stages of its pictures, how far the best (see `Sought`) was
    from the one wanted, in s, and the settings that the rig needs for it, in ms."""

    stages_s: tuple[float | None, ...]
    error_s: float | None
    needs_ms: Mapping[str, Any] | None

    def to_json(self) -> dict[str, Any]:
        """Plain values, ms."""
        return {
            "stages_ms": [None if s is None else round(s * 1e3, 4) for s in self.stages_s],
            "needs_ms": self.needs_ms,
        }


@dataclass(frozen=True)
class Sought:
    """A finished search. `found`: on a simulated rig that nobody else answered for, by its truth.

    `best`: the shot with the wanted picture, which later answers may have shown to be an earlier one; of a search that
    has not found it, the last.
    `kept`: the file with `belief`, what is known now; None if nothing was learned.
    """

    search: Search
    series: int
    shots: tuple[Answered, ...]
    best: Answered | None
    found: bool
    truth: Truth | None
    kept: Path | None
    belief: Belief | None = None

    @property
    def by_word(self) -> bool:
        """Whether somebody has said that a picture is the one wanted."""
        return any(one.answer is not None and one.answer.word == "found" for one in self.shots)
