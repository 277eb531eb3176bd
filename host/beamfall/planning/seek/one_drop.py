"""What lights show of one drop's splash, for many rigs: the words that people say about it, and how likely each is.

Arrays of times may have any shape that ends with one element a rig.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import ClassVar

import numpy as np
from numpy.typing import NDArray

from beamfall.arrays import Floats
from beamfall.planning.seek.answer import Answer
from beamfall.planning.seek.bounds import READING_M, bell, below, is_in_frame
from beamfall.planning.seek.likelihood import say_chance, split_by_lines

WORDS = ("before", "crown", "cavity", "jet", "droplet", "nothing")
#: A picture this close to the moment of its kind is the wanted one (our choice). A jet is then within 0.3 mm of its
#: highest, a droplet within 3 mm of half way.
NEARS_S = {"crown": 0.0025, "cavity": 0.004, "jet": 0.008, "droplet": 0.005}
# How sharply people tell one picture from the next (estimates): at the impact, at the end of the crown, when a jet
# breaks through, when its droplet comes free, and when it has fallen back.
_IMPACT_S, _CROWN_S, _ONSET_S, _FREE_S, _END_S = 0.0003, 0.004, 0.0015, 0.004, 0.002
_JET_SPREAD = 0.06  # of a jet's height from splash to splash, and from the model
# Shares of the jet's height beyond which people call its droplet high or low, and how sharply (estimates).
_LOW, _HIGH, _SHARE_SPREAD = 0.42, 0.58, 0.1
# Keeps pictures in which nobody saw what is wanted in their order, behind all others.
_UNSEEN = 1e-3


def weigh_word(kind: str, word: str) -> float:
    """How far a picture counts as the wanted one by its word: of one drop somebody must have seen what is wanted.

    Otherwise a search whose picture of the wanted moment showed the droplet would no longer look for the jet. A crown
    may hide the cavity.
    """
    shows = {"cavity": ("cavity", "crown")}.get(kind, (kind,))
    return 1.0 if kind == "collision" or word in shows else _UNSEEN


@dataclass(frozen=True)
class SplashMoments:
    """Pictures of one drop that each rig may show.

    `stage_s`: light minus the wanted moment, NaN where it never comes; `since_s`: light minus impact. The others count
    from the impact too, NaN without a jet: the crown's end, the jet's onset, its top, when its droplet is free, when it
    is back.
    """

    stage_s: Floats
    since_s: Floats
    tip_m: Floats
    crown_end_s: Floats
    onset_s: Floats
    top_s: Floats
    free_s: Floats
    end_s: Floats
    impact_m_s: Floats

    words: ClassVar[tuple[str, ...]] = WORDS

    def take(self, chosen: NDArray[np.intp]) -> SplashMoments:
        """Those of some rigs."""
        return replace(self, **{name: value[chosen] for name, value in vars(self).items()})

    def shift(self, later_s: Floats | float, tip_m: Floats | None = None) -> SplashMoments:
        """Those of lights that come so much later; `tip_m`: where the tip is then, if it is known."""
        tip = self.tip_m if tip_m is None else tip_m
        stage, since = self.stage_s + later_s, self.since_s + later_s
        return replace(self, stage_s=stage, since_s=since, tip_m=tip)

    @property
    def _passed(self) -> list[Floats]:
        """The chance that people see the droplet above the low line, and above the high one."""
        fallen = (self.since_s - self.top_s) / (self.end_s - self.top_s)
        share = np.nan_to_num(1.0 - np.square(np.clip(fallen, 0.0, 1.0)))
        return [below((share - line) / _SHARE_SPREAD) for line in (_LOW, _HIGH)]

    def judge_words(self) -> Floats:
        """The chance of each of WORDS, shape (words, ...), from a person who makes no mistakes."""
        has_jet = np.isfinite(self.onset_s)

        def past(when_s: Floats | float, sharp_s: float) -> Floats:
            passed = below((self.since_s - np.where(has_jet, when_s, 0.0)) / sharp_s)
            return np.asarray(np.where(has_jet, passed, 0.0))

        struck = below(self.since_s / _IMPACT_S)
        sunk = below((self.since_s - self.crown_end_s) / _CROWN_S)
        risen, free = past(self.onset_s, _ONSET_S), past(self.free_s, _FREE_S)
        back = past(self.end_s, _END_S)
        seen = is_in_frame(np.maximum(0.0, -self.since_s * self.impact_m_s))
        low = struck * (1.0 - risen)
        high = struck * risen * (1.0 - back)
        calm = (1.0 - struck) * (1.0 - seen) + struck * risen * back
        hole = low * sunk
        words: Floats = np.stack(
            [
                (1.0 - struck) * seen, low * (1.0 - sunk), hole * has_jet,
                high * (1.0 - free), high * free, calm + hole * ~has_jet,
            ]
        )  # fmt: skip
        return words

    def weigh(self, answer: Answer, *, says_ages: bool) -> Floats:
        """The likelihood of an answer that means what it says."""
        if answer.word == "found":
            return np.ones_like(self.stage_s)
        result: Floats = self.judge_words()[WORDS.index(answer.word)]
        if answer.word == "droplet":
            above_low, above_high = self._passed
            high, low = above_high, 1.0 - above_low
            said = {"high droplet": high, "low droplet": low}.get(answer.age)
            result = result * (say_chance(says_ages, high + low) if said is None else said)
        if answer.jet_m is not None:
            spread = np.hypot(READING_M, _JET_SPREAD * self.tip_m)
            result = result * bell((answer.jet_m - self.tip_m) / spread)
        return result

    def split(self, words: Floats, *, widths: bool, gaps: bool) -> Floats:
        """The pictures that a person is expected to tell apart: the words, and how far the droplet has fallen."""
        *others, droplet, nothing = words
        return np.stack([*others, *split_by_lines(droplet, self._passed), nothing])
