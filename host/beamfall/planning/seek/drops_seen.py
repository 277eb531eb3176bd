"""What the rig can be, given what a beam saw of a shot's drops: how long they kept it dark, and when they came."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from beamfall.arrays import Floats
from beamfall.planning.seek.answer import Shot
from beamfall.planning.unknowns import NAMES
from beamfall.setup.rig_sections import Uncertainty

if TYPE_CHECKING:
    from beamfall.planning.draws import Draws


# What a beam senses of a drop differs from the model by these: dwells, as a share, and arrivals (estimates).
_DWELL_SPREAD, _ARRIVAL_S = 0.03, 0.0002
_LEAST_RIGS = 50  # a regression with fewer says nothing
_DOUBT = 0.02  # share of its weight that each rig keeps whatever was seen: the file may be completely wrong


def weigh_dwell(rigs: Draws, shot: Shot) -> Floats:
    """How likely the dwell of drop 1 is for each rig."""
    dwell = rigs.first.dwell_s
    seen = shot.dwells_s[0] if shot.dwells_s else None
    if seen is None or not np.isfinite(dwell).all():
        return np.ones(len(dwell))
    return _doubt((seen / dwell - 1.0) / _DWELL_SPREAD)


def share_told(rigs: Draws, delay_s: Floats, scatter_s: float) -> float:
    """Return how much of the variance of a flash's delay is gone once the beam has seen the edge and dwell of one drop.

    A share from 0 to 1, by linear regression. `delay_s`: what each rig needs, NaN where there is nothing to see;
    `scatter_s`: standard deviation of the latency from shot to shot.
    """
    seen = np.stack([rigs.first.latency_s + rigs.first.to_edge_s, rigs.first.dwell_s])
    good = np.isfinite(delay_s) & np.isfinite(seen).all(axis=0)
    if np.count_nonzero(good) < _LEAST_RIGS:
        return 0.0
    joint = np.cov(np.vstack([seen[:, good], delay_s[good]]))
    dwell_s = _DWELL_SPREAD * float(np.mean(seen[1, good]))
    noise = np.diag([_ARRIVAL_S**2 + scatter_s**2, dwell_s**2])
    told = joint[:2, 2] @ np.linalg.solve(joint[:2, :2] + noise, joint[:2, 2])
    return float(told / joint[2, 2])


def list_late(rigs: Draws, shot: Shot, latency: str) -> list[Floats]:
    """How much later than in each rig each drop came whose valve has that latency (the first valve, or another)."""
    own = rigs.valves[0].output
    found = []
    for number, (at, drop) in enumerate(zip(shot.times_s, rigs.drops, strict=False), 1):
        edge = shot.find_edge(number)
        is_first = rigs.valves[number - 1].output == own
        if edge is not None and is_first == (latency == "latency_error_s"):
            late = edge - at - drop.latency_s - drop.to_edge_s
            found += [late] if np.isfinite(late).all() else []
    return found


def explain_by_latency(
    z: Floats,
    weights: Floats,
    late: list[Floats],
    latency: str,
    known: Uncertainty,
    rng: np.random.Generator,
) -> tuple[Floats, Floats]:
    """Give each rig a latency that explains when its drops came; return its z, and how likely that is.

    What is known of the latency beside the other unknowns of a rig follows from the normal distribution of them all.
    """
    place, spread_s = NAMES.index(latency), known.latency_s
    mean = weights @ z
    apart = z - mean
    precision = np.linalg.inv((weights[:, None] * apart).T @ apart + 1e-9 * np.eye(z.shape[1]))
    free = 1.0 / precision[place, place]
    expected = z[:, place] - free * (apart @ precision[place])
    noise = _ARRIVAL_S**2 + known.latency_scatter_s**2 / len(late)
    total = noise + free * spread_s**2
    off_s = np.mean(late, axis=0) - (expected - z[:, place]) * spread_s
    gain = free * spread_s / total
    left = np.sqrt(free * (1.0 - gain * spread_s))
    explained = z.copy()
    explained[:, place] = expected + gain * off_s + left * rng.standard_normal(len(z))
    return explained, _doubt(off_s / np.sqrt(total))


def _doubt(off: Floats) -> Floats:
    """The likelihood of being this many standard deviations off, for a model that may be wrong."""
    result: Floats = np.exp(-0.5 * np.square(off)) + _DOUBT
    return result
