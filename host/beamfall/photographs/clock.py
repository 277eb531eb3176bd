"""How a camera's clock lies to the log's: offset and drift from the pattern of intervals alone.

A camera stamps floor(t·(1 + drift) + offset), cut to its step. For each drift of a grid every
difference picture − shot votes for an offset; the places with the most votes are candidates. Each
is refined to the (offset, drift) that the most pairs agree with exactly, and what the best one has
over the second decides: where another offset explains nearly as many pictures, nobody can know.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]
    Ints = NDArray[np.intp]

SLACK_S = 0.1  # release to exposure differs from shot to shot by less than this (our choice)
DRIFT_MOST = 2e-4  # of a camera's clock; a quartz is within 1e-4
LEAST_PAIRS = 4
LEAST_LEAD = 3  # pairs that the best offset must have over any other
SHARE_OF_BEST = 0.8  # another offset with a larger share of the best one's pairs: nobody can know
_CANDIDATES = 40
_FINE = 161  # drifts tried around a candidate
_APART_S = 0.6  # offsets closer than this are the same candidate


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


@dataclass(frozen=True)
class ClockResult:
    """The best hypothesis and its best rival. `confidence`: probability that the best one is right."""

    best: ClockFit
    rival: ClockFit | None
    confidence: float

    @property
    def is_clear(self) -> bool:
        """Whether the best one may be used."""
        return self.why_not is None

    @property
    def why_not(self) -> str | None:
        """In words, why it may not."""
        best, rival = self.best, self.rival
        if best.pairs < LEAST_PAIRS:
            return f"only {best.pairs} pictures fit any offset; it takes {LEAST_PAIRS}"
        if rival is not None and (
            rival.pairs > SHARE_OF_BEST * best.pairs or best.pairs - rival.pairs < LEAST_LEAD
        ):
            return (
                f"two offsets fit alike: {best.offset_s:+.1f} s fits {best.pairs} pictures, "
                f"{rival.offset_s:+.1f} s fits {rival.pairs}"
            )
        if self.confidence < 0.999:
            return f"the best offset is right with a probability of only {self.confidence:.3f}"
        return None


def find_clock(shots_s: Floats, pictures_s: Floats, step_s: float) -> ClockResult | None:
    """Return how the camera's clock lies to the log's; None where there is nothing to compare.

    `shots_s` ascending, on the log's clock; `pictures_s` ascending, on the camera's, cut to `step_s`.
    """
    if len(shots_s) < 2 or len(pictures_s) < 2:
        return None
    middle = 0.5 * float(shots_s[0] + shots_s[-1])
    fits: list[ClockFit] = []
    for offset, drift in _find_candidates(shots_s, pictures_s, step_s, middle):
        fits.append(_refine(shots_s, pictures_s, step_s, middle, offset, drift))
    fits.sort(key=lambda fit: -fit.pairs)
    best = fits[0]
    rivals = [fit for fit in fits[1:] if _differs(best, fit, shots_s)]
    return ClockResult(
        best,
        rivals[0] if rivals else None,
        _judge(best, rivals, shots_s, pictures_s, step_s),
    )


def find_pairs(
    fit: ClockFit, shots_s: Floats, pictures_s: Floats, step_s: float, slack_s: float = SLACK_S
) -> tuple[Ints, Ints]:
    """Return index pairs (shot, picture) of every picture within the time that a shot allows."""
    expected = fit.expect(shots_s)
    first = np.searchsorted(pictures_s, expected - step_s - slack_s, side="right")
    last = np.searchsorted(pictures_s, expected + slack_s, side="right")
    counts = np.maximum(last - first, 0)
    shots = np.repeat(np.arange(len(shots_s)), counts)
    within = np.arange(counts.sum()) - np.repeat(np.cumsum(counts) - counts, counts)
    return shots, np.repeat(first, counts) + within


def _find_candidates(
    shots_s: Floats, pictures_s: Floats, step_s: float, middle: float
) -> list[tuple[float, float]]:
    """Offsets and drifts with the most votes, each place once."""
    span = float(max(shots_s[-1] - shots_s[0], pictures_s[-1] - pictures_s[0]))
    half = max(0, math.ceil(DRIFT_MOST * min(span, float(shots_s[-1] - shots_s[0])) / 0.5))
    window = step_s + 2.0 * SLACK_S + 0.25
    found: list[tuple[int, float, float]] = []
    for n in range(-half, half + 1):
        drift = DRIFT_MOST * n / max(half, 1)
        moved = shots_s + drift * (shots_s - middle)
        offsets = np.sort((pictures_s[:, None] - moved[None, :]).ravel())
        votes = np.searchsorted(offsets, offsets + window, side="right") - np.arange(len(offsets))
        taken: list[float] = []
        # A place that many share is seen from each of its votes: walk from the best, skip neighbours.
        order = np.argsort(-votes, kind="stable")[: 60 * _CANDIDATES]
        for index in order:
            place = float(offsets[index])
            if all(abs(place - other) > 0.5 * window for other in taken):
                taken.append(place)
                inside = offsets[index : index + votes[index]]
                # The stamp is cut down: on average it is half a step early.
                found.append((int(votes[index]), float(np.median(inside)) + 0.5 * step_s, drift))
                if len(taken) >= _CANDIDATES:
                    break
    found.sort(key=lambda one: -one[0])
    chosen: list[tuple[float, float]] = []
    for _, offset, drift in found:
        if all(abs(offset - other) > _APART_S for other, _ in chosen):
            chosen.append((offset, drift))
            if len(chosen) >= _CANDIDATES:
                break
    return chosen


def _refine(
    shots_s: Floats, pictures_s: Floats, step_s: float, middle: float, offset: float, drift: float
) -> ClockFit:
    """The offset and drift near a candidate with which the most pairs agree exactly."""
    span = max(float(shots_s[-1] - shots_s[0]), 1.0)
    fit = ClockFit(offset, drift, middle, 0)
    for slack in (0.5 + SLACK_S, 2.0 * SLACK_S):
        shots, pictures = find_pairs(fit, shots_s, pictures_s, step_s, slack)
        if len(shots) == 0:
            break
        since = shots_s[shots] - middle
        gaps = pictures_s[pictures] - shots_s[shots]
        reach = min(DRIFT_MOST, 2.0 * (step_s + slack) / span)
        best = (-1, 0.0, fit.offset_s, fit.drift)
        places: list[tuple[float, float]] = []
        for moved in np.linspace(fit.drift - reach, fit.drift + reach, _FINE):
            if abs(moved) > DRIFT_MOST * 1.01:
                continue
            low = np.sort(gaps - moved * since - SLACK_S)
            # Each pair allows offsets from low to low + width; where do most of them overlap?
            width = step_s + 2.0 * SLACK_S
            ends = np.searchsorted(low, low - width, side="right")
            overlap = np.arange(1, len(low) + 1) - ends
            top = int(overlap.max())
            if top > best[0]:
                best, places = (top, 0.0, 0.0, 0.0), []
            if top == best[0]:
                at = int(np.argmax(overlap))
                inside = low[ends[at] : at + 1]
                places.append((0.5 * float(inside[-1] + inside[0] + width), float(moved)))
        middle_place = places[len(places) // 2]
        error = 0.5 * (places[-1][1] - places[0][1])
        fit = ClockFit(middle_place[0], middle_place[1], middle, best[0], error)
    shots, _ = find_pairs(fit, shots_s, pictures_s, step_s)
    return replace(fit, pairs=len(np.unique(shots)))


def _differs(one: ClockFit, other: ClockFit, shots_s: Floats) -> bool:
    """Whether two hypotheses would pair pictures differently."""
    ends = shots_s[[0, -1]]
    return bool(np.max(np.abs(one.expect(ends) - other.expect(ends))) > _APART_S)


def _judge(
    best: ClockFit, rivals: list[ClockFit], shots_s: Floats, pictures_s: Floats, step_s: float
) -> float:
    """Probability of the best hypothesis among all, by how many more pictures it explains.

    A pair more is a picture that need not be a chance frame and a shot whose picture need not be
    missing: p/(λ·w·(1 − p)) times as likely, with p the share of shots that have a picture, λ the rate
    of chance frames, w the width of the time that a shot allows. Shares are the best hypothesis's
    own, taken half as favourable as they look.
    """
    span = max(float(pictures_s[-1] - pictures_s[0]), 1.0)
    have = (best.pairs + 1.0) / (len(shots_s) + 2.0)
    missing = min(0.5, 2.0 * (1.0 - have))
    chance = 2.0 * (len(pictures_s) - best.pairs + 1.0) / span * (step_s + 2.0 * SLACK_S)
    gain = math.log(max((1.0 - missing) / (min(chance, 0.9) * missing), 1.0001))
    rest = sum(math.exp(-gain * (best.pairs - rival.pairs)) for rival in rivals)
    return 1.0 / (1.0 + rest)
