"""The answers that a belief has taken, with what each says about each of its rigs."""

from __future__ import annotations

from dataclasses import dataclass, field

from beamfall.arrays import Floats
from beamfall.planning.seek.answer import Answer, Shot
from beamfall.planning.seek.likelihood import lapse_chance

OTHER_SPACING_S = 0.004


@dataclass(frozen=True)
class Told:
    """A shot and its answer; whether somebody has looked at the picture again, and seen the same."""

    shot: Shot
    answer: Answer
    looked: bool = False
    confirmed: bool = False


@dataclass(frozen=True)
class Taken:
    """An answer that was taken, and what was wanted then. `confirmed`: by a second look at the picture."""

    shot: Shot
    answer: Answer
    says_ages: bool
    wanted_s: float
    near_s: float
    confirmed: bool

    @property
    def lapse(self) -> float:
        """The likelihood of the answer if it means nothing."""
        return lapse_chance(self.answer, confirmed=self.confirmed)


@dataclass
class TakenAnswers:
    """All answers so far. For each answer, and in it for each rig:

    `fits`: how likely the rig makes it; `own`: the chance that its picture was the wanted one.
    """

    all: list[Taken] = field(default_factory=list)
    fits: list[Floats] = field(default_factory=list)
    own: list[Floats] = field(default_factory=list)

    def add(self, taken: Taken, fits: Floats, own: Floats) -> None:
        """Add the newest."""
        self.all.append(taken)
        self.fits.append(fits)
        self.own.append(own)

    @property
    def says_ages(self) -> bool:
        """Whether the person has said how far a drop or an umbrella is from the contact."""
        return any(one.answer.age for one in self.all)

    @property
    def measures(self) -> tuple[bool, bool]:
        """Whether the person has measured an umbrella's width, and how far drop 2 is from the jet."""
        answers = [one.answer for one in self.all]
        reads = any(one.since_s is not None for one in answers)
        return (
            reads or any(one.width_m is not None for one in answers),
            reads or any(one.drop_m is not None for one in answers),
        )

    def own_chances(self, times_s: tuple[float, ...]) -> list[tuple[int, Floats]]:
        """The chance of each rig that a picture was the wanted one, of earlier shots with such openings.

        With each its number among the answers, from 0.
        """
        return [
            (number, own)
            for number, (one, own) in enumerate(zip(self.all, self.own, strict=True))
            if all(
                abs(a - b) <= OTHER_SPACING_S
                for a, b in zip(one.shot.times_s, times_s, strict=True)
            )
        ]

    def find_doubts(self, weights: Floats) -> list[float]:
        """The chance of each answer that it means nothing, as all of them together have it."""
        return [
            float(weights @ (taken.lapse / fits))
            for taken, fits in zip(self.all, self.fits, strict=True)
        ]
