"""How likely an answer is for pictures of known moments: words, ages, widths, heights and measured times in one model.

A moment is the stage: the light minus the contact of drop 2 with the jet. Arrays of stages may have any shape that
ends with one element a rig.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import ClassVar, Protocol, Self

import numpy as np
from numpy.typing import NDArray

from beamfall.arrays import Floats
from beamfall.physics.liquids import Liquid
from beamfall.physics.umbrella import spread_out
from beamfall.planning.seek.answer import Answer
from beamfall.planning.seek.bounds import READING_M, bell, below, is_in_frame

CONTACT_S = 0.00025  # a picture this close to the contact shows it (0.8 mm of drop 2's way)
WORDS = ("before", "contact", "after", "jet", "nothing", "missed")
MISS = 0.02  # share of collisions that miss by aim
LAPSE = 0.05  # share of answers that mean nothing: people err
REPEATS = 0.5  # share of these that a second look at the picture repeats: it mends slips, not misjudgements (estimate)
JUST_S, LONG_S = 0.003, 0.006  # `just after` is mostly earlier, `long after` mostly later than this
# `just before` is mostly a gap narrower, `long before` mostly one wider than so many diameters of the drop.
JUST_GAP, LONG_GAP = 1.0, 4.0
_AGE_SPREAD = 0.3  # of the logarithm of where people draw these lines (estimate)
# How often a person says an age if there is one to say: at first, and once one was said (estimates).
_SAYS_AGES, _SAID_AGES = 0.65, 0.92
_WIDTH_SPREAD = 0.1  # of an umbrella's width against `physics.umbrella` (rig to rig, and shapes)
_EYE_S = 1e-4  # from which moment on people see the contact, and the umbrella
_JET_SPREAD = 0.06  # of a jet's height from splash to splash, and from the model
_SINCE_LEAST_S = 1e-4  # no picture shows the time since the contact better
_STEP_S = 5e-4  # how sharply `struck` turns if there is no contact
# A value that means nothing is as likely anywhere in a range: its chance against the top of a normal distribution.
_OF_RANGE, _SINCE_RANGE_S, _LENGTH_LAPSE = 2.5, 0.02, 0.2
# Lines between the pictures that a search tells apart when it plans a shot: stages in s, and how sharp they are.
_AGE_LINES, _EARLY_LINES = (JUST_S, LONG_S), (JUST_GAP, LONG_GAP)
_WIDTH_LINES, _WIDTH_SHARP = (0.0007, 0.0014, 0.002, 0.0027, 0.0035, 0.005, 0.007), 0.15
_GAP_LINES, _GAP_SHARP_S = (-0.008, -0.005, -0.003, -0.0015), 0.0004


class Shown(Protocol):
    """Pictures that each rig may show: of drops that meet (`Moments`), or of one drop (`one_drop.SplashMoments`)."""

    words: ClassVar[tuple[str, ...]]

    @property
    def stage_s(self) -> Floats: ...
    @property
    def tip_m(self) -> Floats: ...
    def take(self, chosen: NDArray[np.intp]) -> Self: ...
    def shift(self, later_s: Floats | float, tip_m: Floats | None = None) -> Self: ...
    def judge_words(self) -> Floats: ...
    def weigh(self, answer: Answer, *, says_ages: bool) -> Floats: ...
    def split(self, words: Floats, *, widths: bool, gaps: bool) -> Floats: ...


@dataclass(frozen=True)
class Moments:
    """Pictures that each rig may show: the stage, and what stands where. Without a contact the stage is NaN.

    `ahead_s`: how long before its contact (or its impact) drop 2 is; heights in m, of the contact and of the tip;
    `meeting_m_s`: speed of drop 2 against the tip; `diameter_m`, `impact_m_s`: of drop 2.
    """

    stage_s: Floats
    ahead_s: Floats
    contact_m: Floats
    tip_m: Floats
    meeting_m_s: Floats
    diameter_m: Floats
    impact_m_s: Floats
    liquid: Liquid
    gravity: float

    words: ClassVar[tuple[str, ...]] = WORDS

    @property
    def drop_m(self) -> Floats:
        """Drop 2's lowest point, back along its path from where its time is known; below 0 after its impact."""
        ahead, base = self.ahead_s, np.where(np.isnan(self.contact_m), 0.0, self.contact_m)
        return base + self.impact_m_s * ahead - 0.5 * self.gravity * ahead**2

    @property
    def gap(self) -> Floats:
        """From drop 2 to what it falls on before the contact, in its diameters."""
        met = self.meeting_m_s * self.ahead_s
        gap_m = np.where(np.isnan(self.stage_s), self.drop_m - np.maximum(0.0, self.tip_m), met)
        return np.maximum(1e-3, gap_m / self.diameter_m)

    def take(self, chosen: NDArray[np.intp]) -> Moments:
        """Those of some rigs."""
        return replace(
            self, stage_s=self.stage_s[chosen], ahead_s=self.ahead_s[chosen],
            contact_m=self.contact_m[chosen], tip_m=self.tip_m[chosen],
            meeting_m_s=self.meeting_m_s[chosen], diameter_m=self.diameter_m[chosen],
            impact_m_s=self.impact_m_s[chosen],
        )  # fmt: skip

    def shift(self, later_s: Floats | float, tip_m: Floats | None = None) -> Moments:
        """Those of lights that come so much later; `tip_m`: where the tip is then, if it is known."""
        tip = self.tip_m if tip_m is None else tip_m
        stage, ahead = self.stage_s + later_s, self.ahead_s - later_s
        return replace(self, stage_s=stage, ahead_s=ahead, tip_m=tip)

    def judge_words(self) -> Floats:
        """The chance of each of WORDS, shape (words, ...), from a person who makes no mistakes."""
        none = np.isnan(self.stage_s)
        safe = np.where(none, 0.0, self.stage_s)
        late = below((safe - CONTACT_S) / _EYE_S)
        early = below((-CONTACT_S - safe) / _EYE_S)
        contact = np.maximum(0.0, 1.0 - late - early)
        struck = below(-self.ahead_s / _STEP_S)
        # Without a contact: early until the impact, then it has missed.
        early = np.where(none, 1.0 - struck, early)
        met = np.where(none, 0.0, 1.0 - MISS)
        missed = np.where(none, struck, MISS * (late + contact))
        in_frame = is_in_frame(self.drop_m)
        out, there = early * (1.0 - in_frame), self.tip_m > 0.0
        words: Floats = np.stack(
            [early * in_frame, contact * met, late * met, out * there, out * ~there, missed]
        )
        return words

    def weigh(self, answer: Answer, *, says_ages: bool) -> Floats:
        """The likelihood of an answer that means what it says."""
        words = self.judge_words()
        result: Floats = words[WORDS.index("after" if answer.word == "found" else answer.word)]
        if answer.word in ("after", "found"):
            stage = _positive(self.stage_s)
            result = result * _weigh_age(stage, JUST_S, LONG_S, answer.age, says_ages)
            if answer.width_m is not None:
                result = result * _weigh_width(self, answer.width_m)
        if answer.word == "before":
            result = result * _weigh_age(self.gap, JUST_GAP, LONG_GAP, answer.age, says_ages)
        result = result * _weigh_heights(self, answer)
        if answer.since_s is not None:
            error = max(answer.since_error_s, _SINCE_LEAST_S)
            off = np.where(np.isnan(self.stage_s), np.inf, self.stage_s - answer.since_s)
            result = result * bell(off / error)
        return result

    def split(self, words: Floats, *, widths: bool, gaps: bool) -> Floats:
        """The chances of the pictures that a person is expected to tell apart, shape (pictures, rigs)."""
        rows = []
        for word, chances in zip(WORDS, words, strict=True):
            if word == "after":
                lines, sharp = (_WIDTH_LINES, _WIDTH_SHARP) if widths else (_AGE_LINES, _AGE_SPREAD)
                rows += _split_by_size(chances, _positive(self.stage_s), lines, sharp)
            elif word == "before" and gaps:
                stage = np.nan_to_num(self.stage_s, nan=-0.1)
                rows += split_by_lines(
                    chances, [below((stage - line) / _GAP_SHARP_S) for line in _GAP_LINES]
                )
            elif word == "before":
                # Near enough where there is no contact, too.
                gap = np.maximum(1e-3, self.meeting_m_s * self.ahead_s / self.diameter_m)
                rows += _split_by_size(chances, gap, _EARLY_LINES, _AGE_SPREAD)
            else:
                rows.append(chances)
        return np.stack(rows)


def weigh_answer(
    moments: Shown, answer: Answer, *, says_ages: bool, confirmed: bool = False
) -> Floats:
    """The likelihood of an answer for each stage. `says_ages`: the person has said an age before; `confirmed`: a
    second look has shown the same."""
    fits = moments.weigh(answer, says_ages=says_ages)
    return lapse_chance(answer, confirmed=confirmed) + (1.0 - LAPSE) * fits


def lapse_chance(answer: Answer, *, confirmed: bool = False) -> float:
    """The likelihood of an answer that means nothing: any word, and any value that could be measured."""
    chance = LAPSE / len(WORDS) * (REPEATS if confirmed else 1.0)
    if answer.since_s is not None:
        chance *= min(1.0, _OF_RANGE * max(answer.since_error_s, _SINCE_LEAST_S) / _SINCE_RANGE_S)
    measured = (answer.width_m, answer.jet_m, answer.drop_m)
    return chance * _LENGTH_LAPSE ** sum(one is not None for one in measured)


def with_lapses(chances: Floats) -> Floats:
    return LAPSE / len(WORDS) + (1.0 - LAPSE) * chances


def split_pictures(moments: Shown, *, widths: bool, gaps: bool) -> Floats:
    """The chances of the pictures that a person is expected to tell apart, shape (pictures, rigs).

    `widths`: who measures umbrellas; `gaps`: who measures how far drop 2 is from the jet.
    """
    return moments.split(with_lapses(moments.judge_words()), widths=widths, gaps=gaps)


def split_by_lines(chances: Floats, past: list[Floats]) -> list[Floats]:
    """Share chances out between lines; `past`: that each line is passed, in rising order."""
    bounds = [np.ones_like(chances), *past, np.zeros_like(chances)]
    return [chances * (a - b) for a, b in zip(bounds[:-1], bounds[1:], strict=True)]


def _split_by_size(
    chances: Floats, size: Floats, lines: tuple[float, ...], sharp: float
) -> list[Floats]:
    """Share chances out between lines of a size that people judge by its logarithm."""
    scaled = np.log(size) / sharp
    return split_by_lines(chances, [below(scaled - np.log(line) / sharp) for line in lines])


def _positive(stage_s: Floats) -> Floats:
    return np.where(np.isnan(stage_s), 1e-6, np.maximum(stage_s, 1e-6))


def _weigh_age(size: Floats, just: float, far: float, age: str, says_ages: bool) -> Floats:
    """The likelihood of an age, or of none, where `just` and `far` are the lines that people draw."""
    near = below(np.log(just / size) / _AGE_SPREAD)
    late = below(np.log(size / far) / _AGE_SPREAD)
    if age:
        return near if age.startswith("just") else late
    return say_chance(says_ages, near + late)


def say_chance(says_ages: bool, could: Floats) -> Floats:
    """The chance that a person says no more than the word, where that much more could be said."""
    said = _SAID_AGES if says_ages else _SAYS_AGES
    return (1.0 - said) + said * np.maximum(0.0, 1.0 - could)


def _weigh_width(moments: Moments, width_m: float) -> Floats:
    stage = _positive(moments.stage_s)
    radius = spread_out(stage, moments.diameter_m, moments.meeting_m_s, moments.liquid)
    return bell((0.5 * width_m - radius) / np.hypot(READING_M, _WIDTH_SPREAD * radius))


def _weigh_heights(moments: Moments, answer: Answer) -> Floats:
    result = np.ones_like(moments.stage_s)
    if answer.jet_m is not None:
        met = answer.word in ("contact", "after", "found")
        seen = np.nan_to_num(moments.contact_m) if met else moments.tip_m
        result = result * bell((answer.jet_m - seen) / np.hypot(READING_M, _JET_SPREAD * seen))
    if answer.drop_m is not None and answer.word == "before":
        result = result * bell((answer.drop_m - moments.drop_m) / (1.5 * READING_M))
    return result
