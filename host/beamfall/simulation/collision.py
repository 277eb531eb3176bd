"""What the liquid does: the jet of drop 1, drop 2 that meets it or not, and what a flash would show of it."""

from __future__ import annotations

import math
import random
from dataclasses import dataclass

from beamfall.simulation.drops import Drop, reach
from beamfall.simulation.model import RigModel

LEAST_DEPTH_M = 0.003  # a dish shallower than this throws no jet (Hobbs & Osheroff 1967, Science 158:1184)
LEAST_SPEED_M_S = 1.0  # slower drops than this throw none worth the name (our choice)
CONTACT_S = 0.00025  # a picture this close to the contact is said to show it


@dataclass(frozen=True)
class Jet:
    """The jet of one splash; times in seconds on the rig's clock."""

    starts_s: float
    rise_s: float
    height_m: float
    shape: float

    def tip_m(self, when_s: float) -> float:
        """Height of the tip above the surface; 0 before it rises and after it has fallen back."""
        phase = (when_s - self.starts_s) / self.rise_s
        if phase <= 0.0 or phase >= 2.0:
            return 0.0
        return float(self.height_m * (1.0 - abs(1.0 - phase) ** self.shape))


def make_jet(model: RigModel, drop: Drop, draws: random.Random) -> Jet | None:
    """Return the jet that a drop throws, or None where there is none."""
    late = model.jet.onset_scatter_s * draws.gauss(0.0, 1.0)
    taller = 1.0 + model.jet.height_scatter * draws.gauss(0.0, 1.0)
    if model.dish_depth_m < LEAST_DEPTH_M or drop.impact_speed_m_s < LEAST_SPEED_M_S:
        return None
    return Jet(
        starts_s=drop.impact_s + max(0.005, model.jet.onset_s + late),
        rise_s=model.jet.rise_s,
        height_m=max(0.002, model.jet.height_m * taller),
        shape=model.jet.shape,
    )


def find_contact(model: RigModel, jet: Jet, drop: Drop) -> tuple[float, float] | None:
    """Return when and at what height drop 2's lowest point meets the tip of the jet; None where it never does."""
    radius = 0.5 * drop.diameter_m

    def gap(height_m: float) -> float:
        when = reach(model, drop, height_m + radius)[0]
        return height_m - jet.tip_m(when)

    if jet.tip_m(drop.impact_s) <= 0.0:
        return None  # too early or too late: it strikes the cavity or the calm surface
    low, high = 0.0, jet.height_m * 1.0001
    if drop.start_height_m - radius < high:
        return None
    for _ in range(14):  # 2^-14 of some cm: a few micrometres, about a microsecond
        middle = 0.5 * (low + high)
        if gap(middle) < 0.0:
            low = middle
        else:
            high = middle
    height = 0.5 * (low + high)
    return reach(model, drop, height + radius)[0], height


@dataclass(frozen=True)
class Picture:
    """What the camera would show at one light; heights above the surface, None where a thing is not there.

    `shows` is one of: nothing (no second drop, no jet), jet (a jet, no second drop), before (drop 2 above the jet),
    contact, after (the umbrella spreads), missed (drop 2 went past the jet).
    """

    shows: str
    stage_s: float | None  # light minus contact; None without a contact
    jet_m: float | None
    drop2_m: float | None  # lowest point of drop 2


def see_picture(
    model: RigModel, drops: list[Drop], jet: Jet | None, contact: tuple[float, float] | None, light_s: float
) -> Picture:
    """Return what a flash of light at that time shows."""
    tip = jet.tip_m(light_s) if jet is not None else 0.0
    jet_m = tip if tip > 0.0 else None
    if len(drops) < 2:
        return Picture("jet" if jet_m else "nothing", None, jet_m, None)
    first, second = drops[0], drops[1]
    lowest = find_height(model, second, light_s)
    in_frame = lowest is not None and lowest < model.frame_height_m
    if contact is None:
        shows = "jet" if jet_m else "nothing"
        return Picture("before" if in_frame and jet_m else shows, None, jet_m, lowest if in_frame else None)
    stage = light_s - contact[0]
    apart = math.hypot(first.aim_m[0] - second.aim_m[0], first.aim_m[1] - second.aim_m[1])
    if stage >= -CONTACT_S and apart > 0.5 * (first.diameter_m + second.diameter_m):
        return Picture("missed", stage, jet_m, lowest if in_frame else None)
    if abs(stage) <= CONTACT_S:
        shows = "contact"
    elif stage > 0.0:
        shows = "after"
    else:
        shows = "before" if in_frame else ("jet" if jet_m else "nothing")
    return Picture(shows, stage, jet_m, lowest if in_frame else None)


def find_height(model: RigModel, drop: Drop, when_s: float) -> float | None:
    """Return the height of a drop's lowest point at a time; None before it came free or after its impact."""
    if when_s < drop.left_s or when_s >= drop.impact_s:
        return None
    radius = 0.5 * drop.diameter_m
    low, high = radius, drop.start_height_m
    for _ in range(16):
        middle = 0.5 * (low + high)
        if reach(model, drop, middle)[0] > when_s:
            low = middle
        else:
            high = middle
    return 0.5 * (low + high) - radius
