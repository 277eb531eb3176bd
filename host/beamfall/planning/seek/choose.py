"""The next spacing and flash time: where the wanted picture is likely, and the answer worth most.

Candidates are spacings that rigs still likely need, and for each the lights they would want. A
candidate's worth is the chance that its own picture is the wanted one, plus the expected
information of its answer (the mutual information of word and rig, in nats) times a weight.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from beamfall.errors import UserError
from beamfall.planning.draws import meet_all
from beamfall.planning.openings import Need, find_follower, find_need
from beamfall.planning.seek.weighted_rigs import LEAST_WEIGHT, WeightedRigs, chance_within

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]

_APART_S = 0.008  # spacings that differ less meet much the same jet
_SPACING_QUANTILES = (0.2, 0.35, 0.5, 0.65, 0.8)
_LIGHT_QUANTILES = (0.06, 0.15, 0.25, 0.35, 0.43, 0.5, 0.57, 0.65, 0.75, 0.85, 0.94)
_CONTACT_QUANTILES = (0.25, 0.5, 0.75)  # around the contact itself a word says most


@dataclass(frozen=True)
class Proposal:
    """A shot to fire: each drop's opening since the first, the light after the last drop's beam edge (after
    the first opening where there is no beam), with the chance that its picture is the wanted one and the
    information, in nats, that its answer should bring."""

    times_s: tuple[float, ...]
    delay_s: float
    chance: float
    information: float

    @property
    def spacing_s(self) -> float:
        """Opening 1 to opening 2."""
        return self.times_s[1]


def propose(
    weighted: WeightedRigs,
    wanted_s: float,
    near_s: float,
    *,
    fixed: tuple[float | None, ...],
    by_beam: bool,
    curiosity: float,
    left: tuple[float, ...] = (),
) -> Proposal:
    """Return the best candidate. `fixed`: openings to keep, else None; `by_beam`: the flash follows the last
    drop's edge. `left`: spacings at which drop 2 missed; others are tried, apart from them.

    Raises UserError where the answers have left no rig whose drops could collide.
    """
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
    best: Proposal | None = None
    for spacing in spacings:
        times = _add_followers(weighted, max(0.0, spacing), fixed, needed)
        for found in _judge_times(weighted, times, wanted_s, near_s, by_beam):
            worth = found.chance + curiosity * found.information
            if best is None or worth > best.chance + curiosity * best.information:
                best = found
    if best is None:
        kept = "" if spacing_s is None else f" with a spacing of {spacing_s * 1e3:.4g} ms"
        raise UserError(
            f"no rig like this file, with drops that could collide{kept}, fits all the answers: "
            "check the rig file's heights and opening, then seek again with --fresh"
        )
    return best


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
) -> list[Proposal]:
    rigs, weights = weighted.rigs, weighted.weights
    timing = weighted.predict_timing(times_s)
    base = timing.freed_s[-1] + rigs.drops[-1].to_edge_s if by_beam else np.zeros(rigs.count)
    jet = weighted.make_jet(timing)
    contact, height = meet_all(jet, rigs.drops, timing.freed_s)
    delay = contact + weighted.offset_s + wanted_s - rigs.flash_latency_s - base
    good = np.isfinite(delay)
    if float(weights[good].sum()) < LEAST_WEIGHT:
        return []
    found = []
    candidates = [
        *quantiles(delay[good], weights[good], _LIGHT_QUANTILES),
        *(quantiles(delay[good], weights[good], _CONTACT_QUANTILES) - wanted_s),
    ]
    for candidate in candidates:
        light = base + max(0.0, float(candidate)) + rigs.flash_latency_s
        outlook = weighted.judge(jet, contact, height, timing, light)
        hit = np.where(outlook.tall, chance_within(outlook, wanted_s, near_s), 0.0)
        found.append(
            Proposal(
                times_s,
                max(0.0, float(candidate)),
                float(weights @ hit),
                _information(outlook.words, weights),
            )
        )
    return found


def _information(words: Floats, weights: Floats) -> float:
    """Mutual information of the word and the rig, in nats."""
    mean = words @ weights
    return float(_entropy(mean[:, None])[0] - _entropy(words) @ weights)


def _entropy(chances: Floats) -> Floats:
    safe = np.maximum(chances, 1e-12)
    result: Floats = -np.sum(safe * np.log(safe), axis=0)
    return result


def quantiles(values: Floats, weights: Floats, shares: tuple[float, ...]) -> Floats:
    """Quantiles of weighted values."""
    order = np.argsort(values)
    reached = np.cumsum(weights[order])
    result: Floats = np.interp(np.array(shares) * reached[-1], reached, values[order])
    return result
