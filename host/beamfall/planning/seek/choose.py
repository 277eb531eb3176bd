"""The next spacing and flash time: where the wanted picture is likely, and the answer worth most.

Candidates are spacings that rigs still likely need, and for each the lights they would want. A
candidate's worth is how certain the best picture should be after its answer, plus the chance that
this ends the search and the expected information of the answer (the mutual information of word and
rig, in nats), each times a weight.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from beamfall.arrays import Floats
from beamfall.planning.openings import Need, find_follower, find_need, quantiles
from beamfall.planning.seek.likelihood import MISS, split_pictures
from beamfall.planning.seek.timing import Timing
from beamfall.planning.seek.weighted_rigs import LEAST_WEIGHT, WeightedRigs

_APART_S = 0.008  # spacings that differ less meet much the same jet
_SPACING_QUANTILES = (0.2, 0.35, 0.5, 0.65, 0.8)
_LIGHT_QUANTILES = (0.06, 0.15, 0.25, 0.35, 0.43, 0.5, 0.57, 0.65, 0.75, 0.85, 0.94)
_JUDGES = 1000
# What the chance that a search may end after a shot is worth, a nat of information, and (where drops collide) the
# chance that this picture is the wanted one and no earlier is, against certainty.
ENDING, CURIOSITY, NOVELTY = 0.5, 0.3, 0.5
# Around a moment at which the word turns it says most.
_TURN_QUANTILES = tuple(n / 10 for n in range(1, 10))


@dataclass(frozen=True)
class Proposal:
    """A shot to fire: each drop's opening since the first, the light after the last drop's beam edge (after
    the first opening if there is no beam), with the chance that its picture is the wanted one and the
    information, in nats, that its answer should bring. `sure`: how certain the best picture, this one or an earlier
    one, should be after the answer; `ends`: the chance that it then is certain enough to end the search; `new`: the
    chance that its picture is the wanted one and no earlier one is."""

    times_s: tuple[float, ...]
    delay_s: float
    chance: float
    information: float
    sure: float = 0.0
    ends: float = 0.0
    new: float = 0.0

    @property
    def worth(self) -> float:
        """Its worth: certainty now, an end of the search, information for later shots, and the picture itself."""
        return self.sure + ENDING * self.ends + CURIOSITY * self.information + NOVELTY * self.new

    @property
    def spacing_s(self) -> float | None:
        """Opening 1 to opening 2; None with one drop."""
        return self.times_s[1] if len(self.times_s) > 1 else None


def propose(
    weighted: WeightedRigs,
    wanted_s: float,
    near_s: float,
    *,
    fixed: tuple[float | None, ...],
    by_beam: bool,
    enough: float,
    left: tuple[float, ...] = (),
) -> Proposal | None:
    """Return the best candidate; None if no rig is left whose drops could collide.

    `fixed`: openings to keep, else None; `by_beam`: the flash follows the last drop's edge. `enough`: how certain the
    best picture must be to end the search. `left`: spacings at which drop 2 missed; others are tried, apart from them.
    """
    best: Proposal | None = None
    chooses = weighted.has_contact and fixed[1] is None
    for times in _list_times(weighted, fixed, left):
        for found in _judge_times(weighted, times, wanted_s, near_s, by_beam, chooses, enough):
            if best is None or found.worth > best.worth:
                best = found
    return best


def _list_times(
    weighted: WeightedRigs, fixed: tuple[float | None, ...], left: tuple[float, ...]
) -> list[tuple[float, ...]]:
    """The openings that are worth a look: for each spacing that rigs still likely need, those of all drops."""
    if not weighted.has_contact:
        return [(0.0,)]
    weights = weighted.weights
    needed, spacing_s = find_need(weighted.rigs), fixed[1]
    if spacing_s is not None:
        spacings = [spacing_s]
    else:
        need = needed.spacing_s
        spacings = sorted(
            {round(float(s), 5) for s in quantiles(need, weights, _SPACING_QUANTILES)}
        )
        if left:
            low, middle, high = quantiles(need, weights, (0.05, 0.5, 0.95))
            step = max(_APART_S, float(high - low) / 6.0)
            wide = [float(middle) + n * step for n in range(-4, 5)]
            free = [s for s in wide if s > 0.0 and all(abs(s - one) > 0.9 * step for one in left)]
            spacings = sorted(free, key=lambda s: abs(s - left[-1]))[:2] or spacings
    return [_add_followers(weighted, max(0.0, spacing), fixed, needed) for spacing in spacings]


def _add_followers(
    weighted: WeightedRigs, spacing_s: float, fixed: tuple[float | None, ...], need: Need
) -> tuple[float, ...]:
    """All openings of a shot with that spacing: drop 3 and later ones follow the contact of the drop before."""
    times = [0.0, spacing_s]
    for number in range(3, len(weighted.rigs.drops) + 1):
        set_s = fixed[number - 1]
        if set_s is None:
            contact, height = weighted.rigs.find_contact(times)
            set_s = find_follower(weighted.rigs, number, contact, height, need, weighted.weights)
            set_s = round(set_s, 5)
        times.append(set_s)
    return tuple(times)


def _judge_times(
    weighted: WeightedRigs,
    times_s: tuple[float, ...],
    wanted_s: float,
    near_s: float,
    by_beam: bool,
    chooses: bool,
    enough: float,
) -> list[Proposal]:
    """Shots with these openings. `chooses`: the spacing is free, so that contacts low on the jet count as misses."""
    rigs, weights = weighted.rigs, weighted.weights
    timing = Timing.predict(rigs, times_s)
    base = weighted.find_last_edge(timing) if by_beam else np.zeros(rigs.count)
    jet = weighted.make_jet(timing)
    event, height = weighted.find_event(timing, jet)
    delay = event + weighted.offset_s + wanted_s - rigs.flash_latency_s - base
    good = np.isfinite(delay)
    if float(weights[good].sum()) < LEAST_WEIGHT:
        return []
    outlook = weighted.judge(jet, event, height, timing, base + rigs.flash_latency_s)
    # Which shot is worth most is judged by fewer rigs, each as often as its weight asks.
    chosen = weighted.sample(_JUDGES)
    jet, since = jet.take(chosen), (base + rigs.flash_latency_s)[chosen]
    first = outlook.take(chosen)
    scattered = weighted.scatter[:_JUDGES] * first.spread_s
    earlier = np.array([own[chosen] for _, own in weighted.answers.own_chances(times_s)])
    lacking = np.prod(1.0 - earlier, axis=0) if len(earlier) else np.ones(_JUDGES)
    widths, gaps = weighted.answers.measures
    candidates = [*quantiles(delay[good], weights[good], _LIGHT_QUANTILES)]
    for turn in weighted.list_turns(timing, event):
        at = turn - rigs.flash_latency_s - base
        there = np.isfinite(at)
        if there.any():
            candidates += [*quantiles(at[there], weights[there], _TURN_QUANTILES)]
    found = []
    for candidate in candidates:
        delay_s = max(0.0, float(candidate))
        # One shot of each rig, as chance would have it.
        shown = first.moments.shift(scattered + delay_s, jet.tip(since + delay_s))
        hit = (first.tall | (not chooses)) & (np.abs(shown.stage_s - wanted_s) <= near_s)
        pictures = split_pictures(shown, widths=widths, gaps=gaps)
        joint = pictures / _JUDGES
        sure = joint @ hit
        if len(earlier):
            sure = np.maximum(sure, np.max(joint @ earlier.T, axis=1))
        chance = (1.0 - MISS) * float(np.mean(hit))
        chances = joint.sum(axis=1)
        ends = float(chances @ (sure >= enough * chances))
        found.append(
            Proposal(
                times_s, delay_s, chance, _information(pictures), float(sure.sum()), ends,
                new=float(np.mean(hit * lacking)) if weighted.has_contact else 0.0,
            )
        )  # fmt: skip
    return found


def _information(pictures: Floats) -> float:
    """Mutual information of the picture and the rig, in nats; the rigs are equally likely."""
    return float(_entropy(pictures.mean(axis=1)) - np.mean(_entropy(pictures)))


def _entropy(chances: Floats) -> Floats:
    result: Floats = -np.sum(chances * np.log(np.maximum(chances, 1e-12)), axis=0)
    return result
