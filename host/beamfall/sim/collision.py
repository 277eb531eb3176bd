"""What the liquid does: the jet of drop 1, whether drop 2 meets it, and what a flash of light shows."""

from __future__ import annotations

import bisect
import math
import random
from collections.abc import Mapping
from dataclasses import dataclass, field

from beamfall.physics.impact import COALESCENCE_WEBER, SHALLOWEST_JET_M
from beamfall.physics.jet import (
    LEAST_JET_M,
    cavity_viscosity,
    follow_tip,
    height_law,
    onset_law,
    rise_share,
)
from beamfall.physics.splash import CROWN_END, FREE_SHARE, find_moments
from beamfall.physics.umbrella import LIFE_S, umbrella_radius
from beamfall.sim.drops import Drop, find_height, reach
from beamfall.sim.model import RigModel

CALM_S = 0.6  # a drop this long after the previous one hits a calm surface
CONTACT_S = 0.00025  # a picture this close to the contact counts as showing it
_CLOSE_S = 1e-7  # accuracy of contact times


@dataclass(frozen=True)
class Jet:
    """The jet of one splash; times in seconds on the rig's clock."""

    starts_s: float
    rise_s: float
    height_m: float
    shape: float | None
    gravity: float
    path: tuple[tuple[float, float], ...] | None = None
    fall_factor: float = 1.0  # how long it falls, over a free fall

    @property
    def highest_m(self) -> float:
        """The highest point that the tip reaches; a computed one rises beyond the jet's height once it comes free."""
        return self.height_m * max((tip for _, tip in self.path or ()), default=1.0)

    def tip_m(self, when_s: float) -> float:
        """Height of the tip above the surface; 0 before it rises and after it has fallen back."""
        since = when_s - self.starts_s
        if since <= 0.0:
            return 0.0
        if self.path is not None:
            return self.height_m * _follow(self.path, since / self.rise_s)
        if self.shape is not None:
            phase = since / self.rise_s
            return self.height_m * (1.0 - abs(1.0 - phase) ** self.shape) if phase < 2.0 else 0.0
        before_top = self.rise_s - since
        if before_top < 0.0:
            before_top /= self.fall_factor
        return max(0.0, float(follow_tip(before_top, self.height_m, self.rise_s, self.gravity)))


def make_jet(model: RigModel, drop: Drop, draws: random.Random) -> Jet | None:
    """Return the jet that a drop makes, or None."""
    jet, gravity = model.jet, model.gravity
    late = jet.onset_scatter_s * draws.gauss(0.0, 1.0)
    taller = 1.0 + jet.height_scatter * draws.gauss(0.0, 1.0)
    speed = drop.impact_speed_m_s
    liquid, depth = model.liquid, model.dish_depth_m
    weber = liquid.density_kg_m3 * speed**2 * drop.diameter_m / liquid.surface_tension_n_m
    if depth < SHALLOWEST_JET_M or weber < COALESCENCE_WEBER:
        return None
    # beamfall.physics.impact.cavity_radius_bound
    radius = drop.diameter_m * (speed * speed / (3.0 * gravity * drop.diameter_m)) ** 0.25
    viscosity = cavity_viscosity(liquid, speed, radius)
    height = jet.height_factor * height_law(radius, liquid, viscosity, depth, gravity) * taller
    if height < LEAST_JET_M:
        return None
    share = jet.rise_factor * rise_share(radius, liquid, depth, gravity, jet.height_factor)
    onset = jet.onset_factor * onset_law(radius, liquid, viscosity, depth, gravity)
    return Jet(
        starts_s=drop.impact_s + max(0.005, onset + late),
        rise_s=min(share, 1.0) * math.sqrt(2.0 * height / gravity),
        height_m=height,
        shape=jet.shape,
        gravity=gravity,
        path=jet.path,
        fall_factor=jet.fall_factor,
    )


def find_splash(drop: Drop, jet: Jet | None) -> dict[str, float]:
    """Return when each moment of one drop's splash comes (see `physics.splash`), on the rig's clock.

    Without a jet only those that need none.
    """
    onset, rise = (math.nan,) * 2 if jet is None else (jet.starts_s - drop.impact_s, jet.rise_s)
    found = find_moments(drop.diameter_m, drop.impact_speed_m_s, onset, rise, math.nan)
    when = {name: drop.impact_s + at for name, at in found.items() if math.isfinite(at)}
    if jet is not None:
        when["droplet"] = _find_half_way(jet)  # whatever law its tip follows
    return when


def _find_half_way(jet: Jet) -> float:
    """Return when the tip has fallen back to half its height."""
    early = jet.starts_s + jet.rise_s
    late = early + jet.rise_s
    while jet.tip_m(late) > 0.5 * jet.height_m:
        late += jet.rise_s
    for _ in range(30):
        middle = 0.5 * (early + late)
        if jet.tip_m(middle) > 0.5 * jet.height_m:
            early = middle
        else:
            late = middle
    return late


def _follow(path: tuple[tuple[float, float], ...], at: float) -> float:
    """The height of a path, between its points by straight lines; 0 beyond its end."""
    place = bisect.bisect_right(path, (at, math.inf))
    if place == 0 or place == len(path):
        return 0.0
    (x0, y0), (x1, y1) = path[place - 1], path[place]
    return y0 + (y1 - y0) * (at - x0) / (x1 - x0)


@dataclass(frozen=True)
class Contact:
    """Where drop 2's lowest point meets the tip of the jet."""

    when_s: float
    height_m: float


def find_contact(model: RigModel, jet: Jet, drop: Drop) -> Contact | None:
    """Return when and where drop 2 meets the jet; None if it hits the cavity or a calm surface."""
    if jet.tip_m(drop.impact_s) <= 0.0:
        return None  # a jet that has fallen back is slower than the drop: it is never caught
    radius = 0.5 * drop.diameter_m
    # Between the impact (below the tip) and the drop's passing the jet's full height (above it);
    # the gap falls from one to the other. Regula falsi in the Illinois form.
    low, high = 0.0, jet.highest_m
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


def find_meeting_speed(model: RigModel, jet: Jet | None, drop: Drop, contact: Contact) -> float:
    """Speed of a drop against the jet's tip that it meets, or against a resting umbrella (None)."""
    speed = reach(model, drop, contact.height_m + 0.5 * drop.diameter_m)[1]
    if jet is not None:
        around = 1e-4
        rise = jet.tip_m(contact.when_s + around) - jet.tip_m(contact.when_s - around)
        speed += rise / (2.0 * around)
    return max(speed, 0.05)


@dataclass
class Column:
    """What happens at one place in the dish: drops in order of impact, jet and contacts.

    `recent` holds only the drops since the surface was last calm. `contacts`: drop 2 with the jet,
    then drop 3 with the umbrella that drop 2 made; the list ends at the first miss.
    """

    place_m: float
    drops: list[Drop] = field(default_factory=list)
    recent: list[Drop] = field(default_factory=list)
    jet: Jet | None = None
    contacts: list[Contact] = field(default_factory=list)

    def add(self, model: RigModel, drop: Drop, draws: random.Random) -> None:
        """Add a drop and calculate again what follows."""
        self.drops.append(drop)
        self.drops.sort(key=lambda one: one.impact_s)
        self.recent = _since_calm(self.drops)
        self.jet = make_jet(model, self.recent[0], draws)
        self.contacts = []
        if self.jet is None:
            return
        for number, later in enumerate(self.recent[1:]):
            met = (
                find_contact(model, self.jet, later)
                if number == 0
                else _meet_umbrella(model, self.contacts[-1], later)
            )
            if met is None:
                return
            self.contacts.append(met)

    @property
    def contact(self) -> Contact | None:
        """The contact of the last drop, or None."""
        wanted = len(self.recent) - 1
        return self.contacts[-1] if self.contacts and len(self.contacts) == wanted else None


def _since_calm(drops: list[Drop]) -> list[Drop]:
    first = 0
    for index in range(1, len(drops)):
        if drops[index].impact_s - drops[index - 1].impact_s > CALM_S:
            first = index
    return drops[first:]


def _meet_umbrella(model: RigModel, before: Contact, drop: Drop) -> Contact | None:
    """When a further drop meets the umbrella, which stays at about the height of the contact."""
    when = reach(model, drop, before.height_m + 0.5 * drop.diameter_m)[0]
    if 0.0 < when - before.when_s <= LIFE_S:
        return Contact(when, before.height_m)
    return None


@dataclass(frozen=True)
class Picture:
    """What the camera would see in one flash of light; heights above the surface, None for missing things.

    `shows` is one of: nothing (no jet and no later drop), jet (a jet, no later drop in the frame),
    before (the later drop in the frame, not yet down), contact, after (the umbrella spreads),
    missed (the drop went past the jet, or struck where there was none). The later drop is the
    last one: drop 2 of a collision, drop 3 of three. Of a single drop: before, crown, cavity, jet,
    droplet (the jet falls back, its droplet apart) and nothing.
    """

    shows: str
    stage_s: float | None  # light minus contact; None without a contact
    jet_m: float | None
    drop2_m: float | None  # lowest point of the later drop
    umbrella_m: float | None = None  # its width, rim to rim
    share: float | None = None  # of a single drop's jet: its height over its greatest one
    # For a single drop: light minus each moment of its splash (`physics.splash`), as far as they come.
    since_s: Mapping[str, float] = field(default_factory=dict)
    # Before the contact: from the later drop to what it falls on, in its diameters.
    gap: float | None = None

    def find_stage(self, kind: str) -> float | None:
        """Light minus the moment that an aim of that kind wants; None if it never came."""
        return self.stage_s if kind == "collision" else self.since_s.get(kind)


def see_picture(model: RigModel, column: Column, light_s: float) -> Picture:
    """Return what a flash of light at that time shows."""
    jet, contact = column.jet, column.contact
    tip = jet.tip_m(light_s) if jet is not None else 0.0
    jet_m = tip if tip > 0.0 else None
    calm = "jet" if jet_m else "nothing"
    if len(column.recent) < 2:
        return (
            _see_single(model, column, light_s, jet_m)
            if column.recent
            else Picture(calm, None, None, None)
        )
    first, later = column.recent[0], column.recent[-1]
    lowest = find_height(model, later, light_s)
    drop2_m = lowest if lowest is not None and lowest < model.frame_height_m else None
    if contact is None:
        if light_s >= later.impact_s:
            return Picture("missed", None, jet_m, None)
        return _see_early(later, None, jet_m, drop2_m, tip)
    stage = light_s - contact.when_s
    beside_m = first.place_m - later.place_m + first.aim_m[0] - later.aim_m[0]
    apart = math.hypot(beside_m, first.aim_m[1] - later.aim_m[1])
    if stage >= -CONTACT_S and apart > 0.5 * (first.diameter_m + later.diameter_m):
        return Picture("missed", stage, jet_m, drop2_m)
    if abs(stage) <= CONTACT_S:
        return Picture("contact", stage, jet_m, contact.height_m)
    if stage > 0.0:
        hit = jet if contact is column.contacts[0] else None
        radius = umbrella_radius(
            stage,
            later.diameter_m,
            find_meeting_speed(model, hit, later, contact),
            later.liquid,
            speed_factor=model.sheet_speed_factor,
            time_factor=model.sheet_time_factor,
        )
        return Picture("after", stage, contact.height_m, None, 2.0 * radius)  # there it sits
    is_second = contact is column.contacts[0]
    return _see_early(later, stage, jet_m, drop2_m, tip if is_second else contact.height_m)


def _see_early(
    later: Drop, stage_s: float | None, jet_m: float | None, drop_m: float | None, base_m: float
) -> Picture:
    """What a flash shows while the later drop still falls; `base_m`: the height of what it falls on."""
    if drop_m is None:
        return Picture("jet" if jet_m else "nothing", stage_s, jet_m, None)
    gap = max(0.0, drop_m - max(0.0, base_m)) / later.diameter_m
    return Picture("before", stage_s, jet_m, drop_m, gap=gap)


def _see_single(model: RigModel, column: Column, light_s: float, jet_m: float | None) -> Picture:
    """What a flash of light shows of one drop and its splash."""
    (drop,), jet = column.recent, column.jet
    since = light_s - drop.impact_s
    lowest = find_height(model, drop, light_s)
    after = {name: light_s - at for name, at in find_splash(drop, jet).items()}
    drop_m = lowest if lowest is not None and lowest < model.frame_height_m else None
    if since < 0.0:
        shows = "nothing" if drop_m is None else "before"
    elif jet is not None and jet_m is not None:
        is_free = light_s > jet.starts_s + (1.0 + FREE_SHARE) * jet.rise_s
        shows = "droplet" if is_free else "jet"
    elif since < CROWN_END * drop.diameter_m / drop.impact_speed_m_s:
        shows = "crown"
    else:
        shows = "cavity" if jet is not None and light_s < jet.starts_s else "nothing"
    share = None if jet is None or jet_m is None else jet_m / jet.height_m
    return Picture(shows, None, jet_m, drop_m, share=share, since_s=after)
