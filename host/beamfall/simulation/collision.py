"""What the liquid does: the jet of drop 1, drop 2 that meets it or not, what a light shows of it."""

from __future__ import annotations

import math
import random
from dataclasses import dataclass

from beamfall.physics.impact import SHALLOWEST_JET_M
from beamfall.simulation.drops import Drop, find_height, reach
from beamfall.simulation.model import RigModel

LEAST_SPEED_M_S = 1.0  # slower drops than this throw no jet worth the name (our choice)
CONTACT_S = 0.00025  # a picture this close to the contact is said to show it
_CLOSE_S = 1e-7  # contact times are found to this


@dataclass(frozen=True)
class Jet:
    """The jet of one splash; times in seconds on the rig's clock."""

    starts_s: float
    rise_s: float
    height_m: float
    shape: float | None
    gravity: float

    def tip_m(self, when_s: float) -> float:
        """Height of the tip above the surface; 0 before it rises and after it has fallen back."""
        since = when_s - self.starts_s
        if since <= 0.0:
            return 0.0
        if self.shape is not None:
            phase = since / self.rise_s
            return self.height_m * (1.0 - abs(1.0 - phase) ** self.shape) if phase < 2.0 else 0.0
        # beamfall.physics.jet.tip_height, without its checks
        before_top = self.rise_s - since
        height = self.height_m - 0.5 * self.gravity * before_top**2
        if before_top > 0.0:
            missing = self.height_m - 0.5 * self.gravity * self.rise_s**2
            height -= missing * (before_top / self.rise_s) ** 3
        return max(0.0, height)


def make_jet(model: RigModel, drop: Drop, draws: random.Random) -> Jet | None:
    """Return the jet that a drop throws, or None where there is none."""
    jet, gravity = model.jet, model.gravity
    late = jet.onset_scatter_s * draws.gauss(0.0, 1.0)
    taller = 1.0 + jet.height_scatter * draws.gauss(0.0, 1.0)
    speed = drop.impact_speed_m_s
    if model.dish_depth_m < SHALLOWEST_JET_M or speed < LEAST_SPEED_M_S:
        return None
    # beamfall.physics.impact.cavity_radius_bound
    radius = drop.diameter_m * (speed * speed / (3.0 * gravity * drop.diameter_m)) ** 0.25
    height = max(0.002, jet.height_factor * jet.depth_factor * radius * taller)
    return Jet(
        starts_s=drop.impact_s + max(0.005, jet.onset_factor * math.sqrt(radius / gravity) + late),
        rise_s=min(jet.rise_factor, 1.0) * math.sqrt(2.0 * height / gravity),
        height_m=height,
        shape=jet.shape,
        gravity=gravity,
    )


@dataclass(frozen=True)
class Contact:
    """Where drop 2's lowest point meets the tip of the jet."""

    when_s: float
    height_m: float


def find_contact(model: RigModel, jet: Jet, drop: Drop) -> Contact | None:
    """Return when and where drop 2 meets the jet; None where it strikes cavity or calm surface."""
    if jet.tip_m(drop.impact_s) <= 0.0:
        return None  # a jet that has fallen back is slower than the drop: it is never caught
    radius = 0.5 * drop.diameter_m
    # Between the impact (below the tip) and the drop's passing the jet's full height (above it);
    # the gap falls from one to the other. Regula falsi in the Illinois form.
    low, high = 0.0, jet.height_m
    low_gap = -jet.tip_m(drop.impact_s)
    if drop.start_height_m - radius <= high:
        return None
    when, speed = reach(model, drop, high + radius)
    high_gap = high - jet.tip_m(when)
    height = high
    if high_gap <= _CLOSE_S * speed:
        return Contact(when, height)
    side = 0
    for _ in range(30):
        height = (low * high_gap - high * low_gap) / (high_gap - low_gap)
        when, speed = reach(model, drop, height + radius)
        gap = height - jet.tip_m(when)
        if abs(gap) < _CLOSE_S * speed:
            break
        if gap > 0.0:
            high, high_gap = height, gap
            low_gap = 0.5 * low_gap if side > 0 else low_gap
            side = 1
        else:
            low, low_gap = height, gap
            high_gap = 0.5 * high_gap if side < 0 else high_gap
            side = -1
    return Contact(when, height)


@dataclass(frozen=True)
class Picture:
    """What the camera would show at one light; heights above the surface, None where a thing is not.

    `shows` is one of: nothing (neither drop 2 nor a jet), jet (a jet, no drop 2 in the frame),
    before (drop 2 in the frame, not yet down), contact, after (the umbrella spreads), missed
    (drop 2 went past the jet, or struck where there was none).
    """

    shows: str
    stage_s: float | None  # light minus contact; None without a contact
    jet_m: float | None
    drop2_m: float | None  # lowest point of drop 2


def see_picture(
    model: RigModel, drops: list[Drop], jet: Jet | None, contact: Contact | None, light_s: float
) -> Picture:
    """Return what a flash of light at that time shows."""
    tip = jet.tip_m(light_s) if jet is not None else 0.0
    jet_m = tip if tip > 0.0 else None
    calm = "jet" if jet_m else "nothing"
    if len(drops) < 2:
        return Picture(calm, None, jet_m, None)
    first, second = drops[0], drops[1]
    lowest = find_height(model, second, light_s)
    drop2_m = lowest if lowest is not None and lowest < model.frame_height_m else None
    if contact is None:
        if light_s >= second.impact_s:
            return Picture("missed", None, jet_m, None)
        return Picture("before" if drop2_m is not None else calm, None, jet_m, drop2_m)
    stage = light_s - contact.when_s
    apart = math.hypot(first.aim_m[0] - second.aim_m[0], first.aim_m[1] - second.aim_m[1])
    if stage >= -CONTACT_S and apart > 0.5 * (first.diameter_m + second.diameter_m):
        return Picture("missed", stage, jet_m, drop2_m)
    if abs(stage) <= CONTACT_S:
        return Picture("contact", stage, jet_m, contact.height_m)
    if stage > 0.0:
        return Picture("after", stage, jet_m, None)
    return Picture("before" if drop2_m is not None else calm, stage, jet_m, drop2_m)
