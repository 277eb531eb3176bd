"""Offset and drift of a camera's clock as found, and whether the best hypothesis may be used."""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from beamfall.arrays import Floats


LEAST_PAIRS = 4
LEAST_LEAD = 3  # pairs that the best offset must have over any other
SHARE_OF_BEST = 0.8  # another offset with a larger share of the best one's pairs: nobody can know


@dataclass(frozen=True)
class ClockFit:
    """One hypothesis: camera time = shot time + `offset_s` + drift·(shot time − `middle_s`)."""

    offset_s: float
    drift: float
    middle_s: float
    pairs: int  # shots that a picture fits
    drift_error: float = 0.0  # half the range of drifts that fit as many pictures

    def expect(self, shots_s: Floats) -> Floats:
        """The camera's time, uncut, at each shot."""
        result: Floats = shots_s + self.offset_s + self.drift * (shots_s - self.middle_s)
        return result


class Doubt(Enum):
    """Why an offset may not be used."""

    FEW_FIT = "too few pictures fit"
    TWO_FIT = "another offset fits as well"
    UNLIKELY = "it may be chance"


@dataclass(frozen=True)
class ClockResult:
    """The best hypothesis and its best rival. `confidence`: probability that the best one is right.

    `shared`: pairs that both have; they say nothing about which of the two is right.
    """

    best: ClockFit
    rival: ClockFit | None
    confidence: float
    shared: int = 0

    @property
    def is_clear(self) -> bool:
        """Whether the best one may be used."""
        return self.doubt is None

    @property
    def doubt(self) -> Doubt | None:
        """Why the best one may not be used; None if it may."""
        if self.best.pairs < LEAST_PAIRS:
            return Doubt.FEW_FIT
        if self.rival is not None and are_alike(self.best, self.rival, self.shared):
            return Doubt.TWO_FIT
        return Doubt.UNLIKELY if self.confidence < 0.999 else None

    @property
    def why_not(self) -> str | None:
        """In words, why it may not be used."""
        best, rival, doubt = self.best, self.rival, self.doubt
        if doubt is Doubt.FEW_FIT:
            return f"only {best.pairs} pictures fit any offset; at least {LEAST_PAIRS} must"
        if doubt is Doubt.TWO_FIT and rival is not None:
            return (
                f"two offsets fit equally well: {best.offset_s:+.1f} s fits {best.pairs} pictures, "
                f"{rival.offset_s:+.1f} s fits {rival.pairs}"
            )
        if doubt is Doubt.UNLIKELY:
            return f"the best offset is right with a probability of only {self.confidence:.3f}"
        return None


def are_alike(best: ClockFit, rival: ClockFit, shared: int) -> bool:
    """Whether two hypotheses cannot be told apart."""
    own, of_rival = best.pairs - shared, rival.pairs - shared
    return of_rival > SHARE_OF_BEST * own or best.pairs - rival.pairs < LEAST_LEAD
