"""One simulated drop: from the valve through the beams to the liquid."""

from __future__ import annotations

import math
import random
from dataclasses import dataclass, field

from beamfall.physics.drops import compute_diameter, start_speed
from beamfall.physics.fall import (
    MAX_DIAMETER_M,
    MAX_INITIAL_SPEED_M_S,
    MIN_DIAMETER_M,
    Conditions,
    fall,
)
from beamfall.physics.liquids import Liquid
from beamfall.setup.rig_sections import is_same_place
from beamfall.sim.look import Dye
from beamfall.sim.model import BeamModel, RigModel

LEAST_GAP_S = 0.008  # between two drops of one nozzle: the next one needs time to form


@dataclass
class Drop:
    """What became of one drop; times in seconds on the rig's clock (since power-up)."""

    valve: int
    place_m: float
    diameter_m: float
    left_s: float  # came free
    start_height_m: float  # of its centre, then
    start_speed_m_s: float
    offset_m: float  # of its path from the beam's axis
    aim_m: tuple[float, float]  # where it strikes, from the axis
    liquid: Liquid
    dye: Dye | None  # None: that of the dish
    impact_s: float = math.inf
    impact_speed_m_s: float = 0.0
    dark_s: dict[int, tuple[float, float]] = field(default_factory=dict)  # beam -> dark from, to


def make_drop(
    model: RigModel,
    valve_number: int,
    opened_s: float,
    opening_s: float,
    draws: random.Random,
    not_before_s: float,
) -> Drop | None:
    """Return the drop of one valve opening, or None if the opening is too short for one.

    `not_before_s` is when the nozzle can release the next drop. A drop that would be too large falls as the
    largest possible one.
    """
    valve = model.valves[valve_number - 1]
    liquid = model.liquid if valve.liquid is None else valve.liquid
    spread = 1.0 + valve.volume_scatter * draws.gauss(0.0, 1.0)
    late = valve.latency_scatter_s * draws.gauss(0.0, 1.0)
    aim = (model.aim_scatter_m * draws.gauss(0.0, 1.0), model.aim_scatter_m * draws.gauss(0.0, 1.0))
    open_s = max(0.0, opening_s - valve.lag_s)
    volume = valve.flow.compute_volume(open_s) * spread
    if volume < math.pi / 6.0 * MIN_DIAMETER_M**3:
        return None
    # More than the largest drop is a stream (a rinse, say); beam and dish notice its head.
    largest = math.pi / 6.0 * MAX_DIAMETER_M**3
    diameter = MAX_DIAMETER_M if volume >= largest else compute_diameter(volume)
    left = opened_s + valve.latency_s + (opening_s - valve.opening_s) + late
    drop = Drop(
        valve=valve_number,
        place_m=valve.place_m,
        diameter_m=diameter,
        left_s=max(left, not_before_s),
        start_height_m=valve.nozzle_height_m - valve.detachment_ratio * diameter,
        start_speed_m_s=min(
            MAX_INITIAL_SPEED_M_S,
            valve.start_speed_ratio
            * start_speed(
                diameter,
                valve.flow.compute_push(open_s),
                valve.bore_m,
                liquid,
                gravity=model.gravity,
            ),
        ),
        offset_m=valve.offset_m,
        aim_m=aim,
        liquid=liquid,
        dye=valve.dye,
    )
    drop.impact_s, drop.impact_speed_m_s = reach(model, drop, 0.5 * diameter)
    for number, beam in enumerate(model.beams, 1):
        if not is_same_place(beam.place_m, valve.place_m):
            continue
        shadow = find_shadow(model, drop, beam)
        if shadow is not None:
            drop.dark_s[number] = shadow
    return drop


def reach(model: RigModel, drop: Drop, centre_height_m: float) -> tuple[float, float]:
    """Return when the drop's centre is at that height, and its speed there."""
    distance = drop.start_height_m - centre_height_m
    if distance <= 0.0:
        return drop.left_s, drop.start_speed_m_s
    result = fall(
        distance,
        drop.diameter_m,
        Conditions(
            drop.liquid.density_kg_m3, drop.liquid.surface_tension_n_m, model.air, model.gravity
        ),
        initial_speed_m_s=drop.start_speed_m_s,
    )
    return drop.left_s + result.time_s, result.speed_m_s


def find_shadow(model: RigModel, drop: Drop, beam: BeamModel) -> tuple[float, float] | None:
    """Return when the drop's shadow starts and ends (any shadow counts), or None if it misses the beam."""
    room = drop.diameter_m**2 - 4.0 * drop.offset_m**2
    if room <= 0.0:
        return None
    half = 0.5 * (math.sqrt(room) + beam.width_m)
    if beam.height_m + half >= drop.start_height_m:
        return None  # the beam is at the nozzle: the drop does not fall freely there
    return reach(model, drop, beam.height_m + half)[0], reach(model, drop, beam.height_m - half)[0]


def find_height(model: RigModel, drop: Drop, when_s: float) -> float | None:
    """Return the height of a drop's lowest point; None before it came free or after its impact."""
    if when_s < drop.left_s or when_s >= drop.impact_s:
        return None
    radius = 0.5 * drop.diameter_m
    since = when_s - drop.left_s
    # Newton's steps from the fall without drag, with the speed that `reach` gives.
    height = drop.start_height_m - since * (drop.start_speed_m_s + 0.5 * model.gravity * since)
    for _ in range(5):
        height = min(max(height, radius), drop.start_height_m)
        when, speed = reach(model, drop, height)
        step = (when_s - when) * speed
        height -= step
        if abs(step) < 1e-6:
            break
    return max(height, radius) - radius
