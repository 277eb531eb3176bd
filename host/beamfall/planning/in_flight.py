"""Where the drops of a shot would be when the light came, had they met nothing: from their beam edges."""

from __future__ import annotations

import numpy as np

from beamfall.arrays import Floats
from beamfall.physics.expected_drop import ExpectedDrop
from beamfall.planning.collision import draw_rigs
from beamfall.planning.draws import DropDraws, find_beam
from beamfall.planning.seek.answer import Shot
from beamfall.planning.seek.drops_seen import weigh_dwell
from beamfall.planning.setting import make_setting
from beamfall.setup.rig import Rig

_DRAWS = 400
# How far an edge is off its drop from shot to shot: the drop still rings when it passes the beam (estimate).
_EDGE_S = 1e-4
_NEWTON = 4


def expect_drops(rig: Rig, shot: Shot) -> tuple[ExpectedDrop | None, ...]:
    """Return each drop of a shot at its light, in the order of the openings; None for one whose edge was not seen.

    Edges are those of the rig's first beam, as `seek.answer.read_shot` finds them; further flashes are left out.
    Heights of beam and nozzle, size and first speed are as uncertain as the rig file says, less what the first drop's
    dwell tells. Raises PhysicsRangeError as planning does.
    """
    rigs = draw_rigs(rig, make_setting(rig), _DRAWS, None)
    light = shot.flash_s + rigs.flash_latency_s
    weights = weigh_dwell(rigs, shot)
    onset = _average(rigs.onset_s, weights)
    calm = _average(rigs.onset_s + rigs.rise_s + rigs.fall_s, weights)
    found: list[ExpectedDrop | None] = []
    for number, drop in enumerate(rigs.drops[: len(shot.times_s)], 1):
        edge, beam = shot.find_edge(number), find_beam(rig, rigs.valves[number - 1])
        if edge is None or beam is not rig.beams[0] or not np.isfinite(drop.to_edge_s).all():
            found.append(None)
            continue
        height, speed = follow_fall(drop, light - edge + drop.to_edge_s)
        middle, spread = _average(height, weights)
        speed_m_s = float(np.average(speed, weights=weights))
        found.append(ExpectedDrop(middle, spread, _EDGE_S * speed_m_s, speed_m_s, onset, calm))
    return tuple(found)


def _average(values: Floats, weights: Floats) -> tuple[float, float]:
    """Mean and standard deviation."""
    middle = float(np.average(values, weights=weights))
    return middle, float(np.sqrt(np.average((values - middle) ** 2, weights=weights)))


def follow_fall(drop: DropDraws, since_s: Floats) -> tuple[Floats, Floats]:
    """Height of the lowest point and speed so long after each drop came free; below the surface it falls on evenly."""
    before = drop.to_surface_s - since_s
    height = drop.impact_speed_m_s * before - 0.5 * drop.setting.gravity * before**2
    highest = drop.start_height_m - 0.5 * drop.diameter_m
    # Far above the surface the parabola knows no air: Newton's steps to the true path.
    falling = np.clip(height, 0.0, highest)
    speed = drop.impact_speed_m_s
    for _ in range(_NEWTON):
        when, speed = drop.reach_lowest(falling)
        falling = np.clip(falling - (since_s - when) * speed, 0.0, highest)
    is_above = before > 0.0
    return (
        np.where(is_above, falling, drop.impact_speed_m_s * before),
        np.where(is_above, speed, drop.impact_speed_m_s),
    )
