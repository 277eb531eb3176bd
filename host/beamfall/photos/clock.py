"""The offset and drift of a camera's clock from the log's, found from the pattern of intervals alone.

A camera stamps floor(t·(1 + drift) + offset), cut to its step. For each drift of a grid every
difference picture − shot votes for an offset; the places with the most votes are candidates. Each
is refined to the (offset, drift) that the most pairs agree with exactly, and what the best one has
over the second decides: where another offset explains nearly as many pictures, nobody can know.

The log may hold many days of which the pictures are of one, and a folder may hold several evenings.
Drift therefore turns about the middle of the pictures, not of the log, and a hypothesis is found on
one group of pictures and then carried on to the next ones, nearest first.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from beamfall.arrays import Floats
from beamfall.photos.clock_fit import LEAST_LEAD, ClockFit, ClockResult, are_alike

if TYPE_CHECKING:
    Ints = NDArray[np.intp]

SLACK_S = 0.1  # release to exposure differs from shot to shot by less than this (our choice)
DRIFT_MOST = 2e-4  # of a camera's clock; a quartz is within 1e-4
_SAME = 0.8  # with so many of its pairs in common, and no picture put elsewhere, it is the same one
_CANDIDATES = 40
_CARRIED = 12  # of them, the best: carried on to further groups
_FINE = 161  # drifts tried around a candidate
_COARSE_S = 0.2  # by so much two drifts tried for the next group differ there
# Where drift may move stamps by more, no group is followed: 46 days after one evening
_FAR_S = 800.0
_FOLLOWS = 0.4  # a group with a smaller share of pictures at shots says nothing about drift
_BURST_S = 0.5  # pictures closer than this are of one shot or of none
_GAP_S = 3600.0  # a longer pause ends a group (our choice)
_APART_S = 0.6  # offsets closer than this are the same candidate


@dataclass(frozen=True)
class Group:
    """Pictures taken one after the other; times ascending, on the camera's clock."""

    pictures_s: Floats

    @property
    def first_s(self) -> float:
        return float(self.pictures_s[0])

    @property
    def last_s(self) -> float:
        return float(self.pictures_s[-1])

    @property
    def span_s(self) -> float:
        """From the first to the last."""
        return self.last_s - self.first_s

    @property
    def middle_s(self) -> float:
        """Halfway between the first and the last."""
        return 0.5 * (self.first_s + self.last_s)


def group_pictures(pictures_s: Floats) -> list[Group]:
    """Cut ascending times where more than an hour passes between two."""
    cuts = np.flatnonzero(np.diff(pictures_s) > _GAP_S) + 1
    return [Group(part) for part in np.split(pictures_s, cuts)]


def measure_busy_s(pictures_s: Floats) -> float:
    """The total time in which pictures were taken, in s, without the pauses between the groups."""
    return max(sum(group.span_s for group in group_pictures(pictures_s)), 1.0)


def count_within(pictures_s: Floats, expected_s: Floats) -> int:
    """How many shots, in the camera's time, lie within a group of pictures."""
    return sum(
        int(np.count_nonzero((expected_s >= group.first_s) & (expected_s <= group.last_s)))
        for group in group_pictures(pictures_s)
    )


def find_clock(shots_s: Floats, pictures_s: Floats, step_s: float) -> ClockResult | None:
    """Return the offset and drift of the camera's clock; None if there is nothing to compare.

    `shots_s` ascending, on the log's clock; `pictures_s` ascending, on the camera's, cut to `step_s`.
    """
    if len(shots_s) < 2 or len(pictures_s) < 2:
        return None
    pictures_s = _thin(pictures_s)
    groups = group_pictures(pictures_s)
    fits: list[ClockFit] = []
    for group, offset, drift in _find_candidates(shots_s, groups, step_s):
        start = ClockFit(offset, drift, group.middle_s - offset, 0)
        fits.append(_refine(shots_s, group.pictures_s, step_s, start, group.span_s))
    fits.sort(key=lambda fit: -fit.pairs)
    if len(groups) > 1:
        fits = [_carry_on(shots_s, groups, step_s, fit) for fit in fits[:_CARRIED]] + [
            _count(fit, shots_s, pictures_s, step_s) for fit in fits[_CARRIED:]
        ]
        fits.sort(key=lambda fit: -fit.pairs)
    best = fits[0]
    compared = [(fit, _compare(best, fit, shots_s, pictures_s, step_s)) for fit in fits[1:]]
    rivals = [(fit, shared) for fit, shared in compared if shared is not None]
    rivals.sort(key=lambda one: (not are_alike(best, *one), -one[0].pairs))
    return ClockResult(
        best,
        rivals[0][0] if rivals else None,
        _judge(best, [fit for fit, _ in rivals], shots_s, pictures_s, step_s),
        rivals[0][1] if rivals else 0,
    )


def _thin(pictures_s: Floats) -> Floats:
    """Ascending times without bursts: shots are further apart than frames of a burst, which would outvote them."""
    kept: list[float] = []
    for when in pictures_s.tolist():
        if not kept or when - kept[-1] >= _BURST_S:
            kept.append(when)
    return np.array(kept)


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
    shots_s: Floats, groups: list[Group], step_s: float
) -> list[tuple[Group, float, float]]:
    """Offsets (in the middle of a group) and drifts with the most votes, each place once."""
    window = step_s + 2.0 * SLACK_S + 0.25
    found: list[tuple[int, int, float, float]] = []
    for number, group in enumerate(groups):
        span = min(group.span_s, float(shots_s[-1] - shots_s[0]))
        half = max(0, math.ceil(DRIFT_MOST * span / 0.5))
        for n in range(-half, half + 1):
            drift = DRIFT_MOST * n / max(half, 1)
            moved = group.middle_s + (group.pictures_s - group.middle_s) / (1.0 + drift)
            votes = _vote(shots_s, moved, window)
            # The stamp is cut down: on average it is half a step early.
            found += [(count, number, place + 0.5 * step_s, drift) for count, place in votes]
    found.sort(key=lambda one: -one[0])
    chosen: list[tuple[int, float, float]] = []
    for _, number, offset, drift in found:
        if all(abs(offset - other) > _APART_S or number != of for of, other, _ in chosen):
            chosen.append((number, offset, drift))
            if len(chosen) >= _CANDIDATES:
                break
    return [(groups[number], offset, drift) for number, offset, drift in chosen]


def _vote(shots_s: Floats, pictures_s: Floats, window: float) -> list[tuple[int, float]]:
    """Where differences picture − shot lie closest: votes and offset of the best places."""
    offsets = np.sort((pictures_s[:, None] - shots_s[None, :]).ravel())
    votes = np.searchsorted(offsets, offsets + window, side="right") - np.arange(len(offsets))
    found: list[tuple[int, float]] = []
    taken: list[float] = []
    # A place that many share is seen from each of its votes: walk from the best, skip neighbours.
    for index in np.argsort(-votes, kind="stable")[: 60 * _CANDIDATES]:
        place = float(offsets[index])
        if all(abs(place - other) > 0.5 * window for other in taken):
            taken.append(place)
            inside = offsets[index : index + votes[index]]
            found.append((int(votes[index]), float(np.median(inside))))
            if len(taken) >= _CANDIDATES:
                break
    return found


def _refine(
    shots_s: Floats, pictures_s: Floats, step_s: float, start: ClockFit, span_s: float
) -> ClockFit:
    """The offset and drift near a candidate with which the most pairs agree exactly.

    `span_s`: how long a time its pairs are known to hold.
    """
    middle = start.middle_s
    span = max(min(span_s, float(shots_s[-1] - shots_s[0])), 1.0)
    fit = start
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
    return _count(fit, shots_s, pictures_s, step_s)


def _count(fit: ClockFit, shots_s: Floats, pictures_s: Floats, step_s: float) -> ClockFit:
    shots, _ = find_pairs(fit, shots_s, pictures_s, step_s)
    return replace(fit, pairs=len(np.unique(shots)))


def _carry_on(shots_s: Floats, groups: list[Group], step_s: float, fit: ClockFit) -> ClockFit:
    """A hypothesis that holds for one group, with the drift that suits the others too.

    From one evening alone drift is hardly known: by the next day it moves a stamp by seconds. Each
    group, nearest first, narrows it; one in which few pictures are at shots (of something else, or
    of shots that the log does not have) says nothing.
    """
    pivot = fit.middle_s + fit.offset_s  # on the camera's clock
    known = min(groups, key=lambda group: abs(group.middle_s - pivot))
    first, last, pictures_s = known.first_s, known.last_s, known.pictures_s
    for group in sorted(groups, key=lambda group: abs(group.middle_s - pivot)):
        if group is known:
            continue
        far = max(abs(group.first_s - pivot), abs(group.last_s - pivot))
        reach = min(DRIFT_MOST, 2.0 * (step_s + 2.0 * SLACK_S) / max(last - first, 1.0))
        if reach * far > _FAR_S or not _may_hold(fit, group, shots_s):
            continue
        drifts = np.linspace(-reach, reach, 2 * math.ceil(reach * far / _COARSE_S) + 1) + fit.drift
        drifts = drifts[np.abs(drifts) <= DRIFT_MOST * 1.01]
        if not len(drifts):
            continue
        fresh = _count_hits(fit, drifts, shots_s, group.pictures_s, step_s)
        both = fresh + _count_hits(fit, drifts, shots_s, pictures_s, step_s)
        at = np.flatnonzero(both == both.max())
        chosen = int(at[len(at) // 2])
        if fresh[chosen] < max(LEAST_LEAD, _FOLLOWS * len(group.pictures_s)):
            continue
        first, last = min(first, group.first_s), max(last, group.last_s)
        pictures_s = np.sort(np.concatenate((pictures_s, group.pictures_s)))
        moved = replace(fit, drift=float(drifts[chosen]))
        fit = _refine(shots_s, pictures_s, step_s, moved, last - first)
    everything = np.concatenate([group.pictures_s for group in groups])
    return _count(fit, shots_s, everything, step_s)


def _may_hold(fit: ClockFit, group: Group, shots_s: Floats) -> bool:
    """Whether the log has shots of a group's time at all, whatever the drift."""
    pivot = fit.middle_s + fit.offset_s
    far = max(abs(group.first_s - pivot), abs(group.last_s - pivot))
    slack = 2.0 * DRIFT_MOST * far + 1.0
    first, last = group.first_s - fit.offset_s - slack, group.last_s - fit.offset_s + slack
    return bool(np.searchsorted(shots_s, last) > np.searchsorted(shots_s, first))


def _count_hits(
    fit: ClockFit, drifts: Floats, shots_s: Floats, pictures_s: Floats, step_s: float
) -> Ints:
    """For each drift, how many pictures have a shot."""
    pivot = fit.middle_s + fit.offset_s
    times = fit.middle_s + (pictures_s[None, :] - pivot) / (1.0 + drifts[:, None])
    first = np.searchsorted(shots_s, times - 2.0 * SLACK_S, side="left")
    last = np.searchsorted(shots_s, times + step_s + 2.0 * SLACK_S, side="right")
    hits: Ints = np.count_nonzero(last > first, axis=1)
    return hits


def _compare(
    best: ClockFit, other: ClockFit, shots_s: Floats, pictures_s: Floats, step_s: float
) -> int | None:
    """How many shots two hypotheses give the same pictures; None if they are the same one.

    What a hypothesis says of days without pictures does not count: only pairs do.
    """
    ours = _take_pairs(best, shots_s, pictures_s, step_s)
    theirs = _take_pairs(other, shots_s, pictures_s, step_s)
    common = {
        (shot, picture)
        for picture, shots in theirs.items()
        for shot in shots & ours.get(picture, set())
    }
    moved = sum(picture in ours and not shots & ours[picture] for picture, shots in theirs.items())
    total = sum(len(shots) for shots in theirs.values())
    if moved < LEAST_LEAD and len(common) >= _SAME * total:
        return None
    return len({shot for shot, _ in common})


def _take_pairs(
    fit: ClockFit, shots_s: Floats, pictures_s: Floats, step_s: float
) -> dict[int, set[int]]:
    """The shots that each picture may show."""
    shots, pictures = find_pairs(fit, shots_s, pictures_s, step_s)
    found: dict[int, set[int]] = {}
    for shot, picture in zip(shots.tolist(), pictures.tolist(), strict=True):
        found.setdefault(picture, set()).add(shot)
    return found


def _judge(
    best: ClockFit, rivals: list[ClockFit], shots_s: Floats, pictures_s: Floats, step_s: float
) -> float:
    """Probability of the best hypothesis among all, by how many more pictures it explains.

    A pair more is a picture that need not be a chance frame and a shot whose picture need not be
    missing: p/(λ·w·(1 − p)) times as likely, with p the share of shots that have a picture, λ the rate
    of chance frames, w the width of the time that a shot allows. Shares are the best hypothesis's
    own, taken half as favourable as they look. Shots of hours without pictures do not count.
    """
    shots = max(best.pairs, count_within(pictures_s, best.expect(shots_s)))
    have = (best.pairs + 1.0) / (shots + 2.0)
    missing = min(0.5, 2.0 * (1.0 - have))
    busy = measure_busy_s(pictures_s)
    chance = 2.0 * (len(pictures_s) - best.pairs + 1.0) / busy * (step_s + 2.0 * SLACK_S)
    gain = math.log(max((1.0 - missing) / (min(chance, 0.9) * missing), 1.0001))
    rest = sum(math.exp(-gain * (best.pairs - rival.pairs)) for rival in rivals)
    return 1.0 / (1.0 + rest)
