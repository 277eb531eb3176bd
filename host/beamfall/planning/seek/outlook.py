"""What each of many rigs would show for one shot, with the scatter from shot to shot."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from beamfall.arrays import Floats
from beamfall.planning.seek.answer import Answer
from beamfall.planning.seek.bounds import below
from beamfall.planning.seek.likelihood import MISS, Shown, with_lapses

# Standard deviations from the middle of nine equal parts of a normal distribution.
_NODES = np.array([-1.593, -0.967, -0.589, -0.282, 0.0, 0.282, 0.589, 0.967, 1.593])


@dataclass(frozen=True)
class Outlook:
    """What each rig would show for one shot: arrays, one element a rig.

    `moments`: of the usual shot; `spread_s`: standard deviation of its stage from shot to shot. `tall`: the contact is
    high on the jet.
    """

    moments: Shown
    spread_s: Floats
    tall: NDArray[np.bool_]

    @property
    def stage_s(self) -> Floats:
        """Light minus contact, or minus the moment that is wanted of one drop; NaN without it."""
        return self.moments.stage_s

    @cached_property
    def scattered(self) -> Shown:
        """The moments of equally likely shots of each rig, shape (shots, rigs)."""
        return self.moments.shift(_NODES[:, None] * self.spread_s)

    @cached_property
    def words(self) -> Floats:
        """Chance of each of the words of `moments`, shape (words, rigs)."""
        words: Floats = self.scattered.judge_words().mean(axis=1)
        return words

    def take(self, chosen: NDArray[np.intp]) -> Outlook:
        """That of some rigs."""
        return Outlook(self.moments.take(chosen), self.spread_s[chosen], self.tall[chosen])


def reachable_chance(outlook: Outlook, near_s: float) -> Floats:
    """Chance, for every rig, that a shot aimed perfectly shows the wanted picture."""
    return (2.0 * below(near_s / outlook.spread_s) - 1.0) * (1.0 - MISS)


def expect_word(outlook: Outlook, answer: Answer) -> Floats:
    """The chance of an answer's word from each rig."""
    words = outlook.moments.words
    word = answer.word
    if word == "found":
        if "after" not in words:
            return np.ones(outlook.words.shape[1])
        word = "after"
    return with_lapses(outlook.words[words.index(word)])
