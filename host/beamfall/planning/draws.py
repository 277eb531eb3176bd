"""Thousands of rigs that fit a rig file, as arrays: what each would do with its drops.

Everything here has one element a rig. Times called `to_` count from a drop's coming free.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from statistics import NormalDist
from typing import Any, Self

import numpy as np
from numpy.typing import NDArray

from beamfall.arrays import Floats
from beamfall.physics.fall import MAX_DIAMETER_M, MAX_INITIAL_SPEED_M_S, MIN_DIAMETER_M
from beamfall.physics.impact import SHALLOWEST_JET_M
from beamfall.physics.jet import (
    LEAST_JET_M,
    JetPrior,
    cavity_viscosity,
    height_law,
    onset_law,
    rise_share,
    tip_heights,
)
from beamfall.physics.splash import find_moments
from beamfall.physics.umbrella import LIFE_S
from beamfall.planning.falling import FallingDrop
from beamfall.planning.setting import (
    Setting,
    compute_drop,
    compute_start_speed,
    find_latency,
    make_setting,
)
from beamfall.planning.unknowns import APART, NAMES, list_unknowns
from beamfall.setup.rig import Rig
from beamfall.setup.rig_sections import Beam, Valve, is_same_place

_HALVINGS = 11  # 2^-11 of some cm: 0.02 mm, some 5 microseconds


@dataclass(frozen=True)
class DropDraws(FallingDrop):
    """One drop of a shot, or all drops of one valve, with what a beam sees of it and its impact."""

    to_edge_s: Floats  # to the counted edge of the first beam that sees them; NaN without one
    dwell_s: Floats
    to_surface_s: Floats
    impact_speed_m_s: Floats


@dataclass(frozen=True)
class JetDraws:
    """The jets: `starts_s` on the clock of whoever asks, others as in `physics.jet`.

    `fall_factor`: how long they fall, over a free fall from their top.
    """

    starts_s: Floats
    rise_s: Floats
    height_m: Floats
    fall_factor: Floats
    gravity: float

    @classmethod
    def of(cls, rigs: Draws, impact_s: Floats) -> Self:
        """The jets of drops that strike then."""
        return cls(
            impact_s + rigs.onset_s, rigs.rise_s, rigs.height_m, rigs.values["fall_factor"],
            rigs.setting.gravity,
        )  # fmt: skip

    def tip(self, when_s: Floats) -> Floats:
        """Height of the tip."""
        past = np.maximum(when_s - self.starts_s - self.rise_s, 0.0)
        return tip_heights(
            when_s - past + past / self.fall_factor,
            self.starts_s, self.height_m, self.rise_s, gravity=self.gravity,
        )  # fmt: skip

    def take(self, chosen: NDArray[np.intp]) -> JetDraws:
        """Some of them."""
        return replace(
            self,
            starts_s=self.starts_s[chosen],
            rise_s=self.rise_s[chosen],
            height_m=self.height_m[chosen],
            fall_factor=self.fall_factor[chosen],
        )


@dataclass(frozen=True)
class Draws:
    """Many rigs: the drops of their shot, and the jet of drop 1 (onset after impact).

    `valves`: of each drop, with that drop's opening.
    """

    setting: Setting
    z: Floats  # shape (rigs, unknowns), standard normal under the prior
    values: Mapping[str, Floats]
    valves: tuple[Valve, ...]
    drops: tuple[DropDraws, ...]
    flash_latency_s: Floats
    cavity_m: Floats  # `impact.cavity_radius_bound`
    onset_s: Floats
    rise_s: Floats
    height_m: Floats

    @property
    def count(self) -> int:
        """How many rigs."""
        return len(self.onset_s)

    @property
    def first(self) -> DropDraws:
        """Drop 1."""
        return self.drops[0]

    def drop(self, number: int) -> DropDraws:
        """Drop `number` of the shot, from 1."""
        return self.drops[number - 1]

    @property
    def impact_s(self) -> Floats:
        """Drop 1's impact since its valve's opening."""
        return self.first.latency_s + self.first.to_surface_s

    @property
    def moments(self) -> Mapping[str, Floats]:
        """When the splash of drop 1 alone is at its best, after its impact: see `physics.splash`."""
        first = self.first
        return find_moments(
            first.diameter_m, first.impact_speed_m_s, self.onset_s, self.rise_s, self.fall_s
        )

    @property
    def jet(self) -> JetDraws:
        """The jet since drop 1's valve opening."""
        return JetDraws.of(self, self.impact_s)

    @property
    def fall_s(self) -> Floats:
        """How long the jet falls, from its top to the surface."""
        fall: Floats = self.values["fall_factor"] * np.sqrt(
            2.0 * self.height_m / self.setting.gravity
        )
        return fall

    def find_contact(self, times_s: Sequence[Floats | float]) -> tuple[Floats, Floats]:
        """When and at what height the last drop meets jet or umbrella; NaN where it does not.

        `times_s`: the openings of drop 1 and of the drops up to that last one, from the first opening on.
        """
        freed = [
            np.asarray(at, dtype=np.float64) + self.drop(number).latency_s
            for number, at in enumerate(times_s[1:], 2)
        ]
        when, height = meet_all(self.jet, self.drops, freed)
        return when + self.values["contact_offset_s"], height


def meet_all(
    jet: JetDraws, drops: Sequence[DropDraws], freed_s: Sequence[Floats]
) -> tuple[Floats, Floats]:
    """When and where the last drop meets the jet (drop 2) or the umbrella (later ones); NaN where one misses.

    `freed_s`: when drop 2 and later ones came free, on the jet's clock. An umbrella stays where it was made, for a
    while: `physics.umbrella.LIFE_S`.
    """
    when, height = meet(jet, drops[1], freed_s[0])
    for drop, freed in zip(drops[2:], freed_s[1:], strict=False):
        struck = freed + drop.reach_lowest(np.nan_to_num(height, nan=0.01))[0]
        since = struck - when
        met = (since > 0.0) & (since <= LIFE_S)  # False for NaN
        when = np.where(met, struck, np.nan)
        height = np.where(met, height, np.nan)
    return when, height


def meet(jet: JetDraws, drop: DropDraws, freed_s: Floats) -> tuple[Floats, Floats]:
    """When and where a drop that came free at `freed_s` meets the jet; NaN where it strikes none."""
    none = (jet.tip(freed_s + drop.to_surface_s) <= 0.0) | (jet.height_m < LEAST_JET_M)
    low, high = np.zeros_like(jet.height_m), jet.height_m.copy()
    for _ in range(_HALVINGS):
        middle = 0.5 * (low + high)
        above = middle >= jet.tip(freed_s + drop.reach_lowest(middle)[0])
        high = np.where(above, middle, high)
        low = np.where(above, low, middle)
    height = 0.5 * (low + high)
    when = freed_s + drop.reach_lowest(height)[0]
    return np.where(none, np.nan, when), np.where(none, np.nan, height)


def draw_z(
    count: int,
    rng: np.random.Generator,
    mean: Floats | None = None,
    covariance: Floats | None = None,
) -> Floats:
    """Standard normal vectors, shape (count, unknowns), or normal ones with a mean and covariance."""
    z = draw_normal(count, rng)
    if mean is None or covariance is None:
        return z
    values, vectors = np.linalg.eigh(covariance)
    root = vectors * np.sqrt(np.maximum(values, 0.0))
    result: Floats = mean + z @ root.T
    return result


def draw_normal(count: int, rng: np.random.Generator) -> Floats:
    """Standard normal vectors. Those of other valves have a stream of their own, so the rest stays as it is.

    Each unknown takes even steps of its distribution, in an order of its own: percentiles of few draws are steadier.
    """
    steps = _list_steps(count)
    own = np.tile(steps, (len(NAMES) - len(APART), 1))
    others = np.tile(steps, (len(APART), 1))
    return np.vstack([rng.permuted(own, axis=1), rng.spawn(1)[0].permuted(others, axis=1)]).T.copy()


@lru_cache(maxsize=8)
def _list_steps(count: int) -> Floats:
    """The middles of `count` steps of equal chance of the standard normal distribution."""
    normal = NormalDist()
    return np.array([normal.inv_cdf((i + 0.5) / count) for i in range(count)])


def make_draws(rig: Rig, setting: Setting, z: Floats, prior: JetPrior) -> Draws:
    """Calculate what each rig of `z` does with its drops (see `unknowns`)."""
    unknowns = list_unknowns(rig, setting, prior)
    values = {name: unknowns[name].at_all(z[:, i]) for i, name in enumerate(NAMES)}
    valves = rig.list_drops()
    made = {valve: make_drops(rig, values, valve) for valve in dict.fromkeys(valves)}
    first, gravity = made[valves[0]], setting.gravity
    # beamfall.physics.impact.cavity_radius_bound
    radius = (
        first.diameter_m * (first.impact_speed_m_s**2 / (3.0 * gravity * first.diameter_m)) ** 0.25
    )
    depth, liquid = max(rig.dish.depth_m, SHALLOWEST_JET_M), setting.liquid
    speed, middle = (float(np.median(one)) for one in (first.impact_speed_m_s, radius))
    viscosity = cavity_viscosity(liquid, speed, middle)
    height = values["height_factor"] * height_law(radius, liquid, viscosity, depth, gravity)
    share = values["rise_factor"] * rise_share(
        radius, liquid, depth, gravity, values["height_factor"]
    )
    flash = rig.flashes[0].latency_s if rig.flashes else 0.0
    return Draws(
        setting=setting,
        z=z,
        values=values,
        valves=valves,
        drops=tuple(made[valve] for valve in valves),
        flash_latency_s=flash * values["flash_latency_ratio"],
        cavity_m=radius,
        onset_s=values["onset_factor"] * onset_law(radius, liquid, viscosity, depth, gravity),
        rise_s=np.minimum(share, 1.0) * np.sqrt(2.0 * height / gravity),
        height_m=height,
    )


def find_beam(rig: Rig, valve: Valve) -> Beam | None:
    """The first beam that sees a valve's drops."""
    near = (beam for beam in rig.beams if is_same_place(beam.place_m, valve.place_m))
    return next(near, None)


def make_drops(rig: Rig, values: Mapping[str, Floats], valve: Valve) -> DropDraws:
    """The drops of one valve, of its own liquid, for rigs with these values."""
    setting = make_setting(rig, valve.output)
    nominal = compute_drop(valve, setting, stream=True)
    ratio, nozzle = values["volume_ratio"], valve.height_m + values["nozzle_error_m"]
    latency = find_latency(valve) + values["latency_error_s"]
    if valve.output != rig.valves[0].output:
        ratio = ratio * values["other_volume_ratio"]
        nozzle = nozzle + values["other_nozzle_error_m"]
        latency = latency + values["other_latency_error_s"]
    diameter = np.clip(nominal * np.cbrt(ratio), MIN_DIAMETER_M, MAX_DIAMETER_M)
    nothing = np.full_like(diameter, np.nan)
    drops = DropDraws(
        setting=setting,
        latency_s=np.maximum(valve.opening_s, latency),  # no sooner than its valve has closed
        diameter_m=diameter,
        start_height_m=nozzle - values["detachment_ratio"] * diameter,
        start_speed_m_s=np.minimum(
            values["start_speed_ratio"] * compute_start_speed(valve, setting, diameter, ratio),
            MAX_INITIAL_SPEED_M_S,
        ),
        to_edge_s=nothing,
        dwell_s=nothing,
        to_surface_s=nothing,
        impact_speed_m_s=nothing,
    )
    return watch_drops(drops, find_beam(rig, valve), values)


def watch_drops(drops: DropDraws, beam: Beam | None, values: Mapping[str, Floats]) -> DropDraws:
    """Fill in what a beam sees of drops, and their impact."""
    to_surface, impact_speed = drops.reach(0.5 * drops.diameter_m)
    seen: dict[str, Any] = {}
    if beam is not None:
        height = beam.height_m + values["beam_error_m"]
        dark, clear = drops.cross(height, beam.width_m * values["beam_sense"], beam.offset_m)
        seen = {"to_edge_s": dark if beam.edge == "dark" else clear, "dwell_s": clear - dark}
    watched = replace(drops, to_surface_s=to_surface, impact_speed_m_s=impact_speed, **seen)
    watched.__dict__["_falls"] = drops._falls  # the same falls: nine tenths of the work are done
    return watched
