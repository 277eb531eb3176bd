"""Thousands of rigs that a rig file could mean, as arrays: what each would do with its drops."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from beamfall.physics.fall import MAX_DIAMETER_M, MIN_DIAMETER_M, fall_array
from beamfall.physics.impact import SHALLOWEST_JET_M
from beamfall.physics.jet import estimate_depth_factor, tip_heights
from beamfall.plan.setting import Setting, compute_drop
from beamfall.plan.unknowns import NAMES, list_unknowns

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from beamfall.physics.jet import JetPrior
    from beamfall.rig import Rig

    Floats = NDArray[np.float64]

_NOT_FREE_M = 1e-4  # the least fall: a beam above where the drop comes free sees it at once


@dataclass(frozen=True)
class Fall:
    """Falls of many drops: from where and how fast each starts, and what times follow."""

    setting: Setting
    diameter_m: Floats
    start_height_m: Floats  # of the centre
    start_speed_m_s: Floats

    def reach(self, centre_height_m: Floats) -> tuple[Floats, Floats]:
        """Time since the drop came free until its centre is at a height, and its speed there."""
        distance = np.maximum(self.start_height_m - centre_height_m, _NOT_FREE_M)
        result = fall_array(
            distance,
            self.diameter_m,
            liquid_density_kg_m3=self.setting.liquid.density_kg_m3,
            surface_tension_n_m=self.setting.liquid.surface_tension_n_m,
            air=self.setting.air,
            gravity=self.setting.gravity,
            initial_speed_m_s=self.start_speed_m_s,
        )
        return result.time_s, result.speed_m_s


@dataclass(frozen=True)
class Draws:
    """Many rigs; every array has one element a rig. Times in s, `to_` times from the drop's coming free."""

    setting: Setting
    z: Floats  # shape (rigs, unknowns), standard normal under the prior
    values: Mapping[str, Floats]
    fall: Fall
    latency_s: Floats
    flash_latency_s: Floats
    to_edge_s: Floats  # to the counted edge of the beam
    speed_at_edge_m_s: Floats
    dwell_s: Floats
    to_surface_s: Floats
    impact_speed_m_s: Floats
    onset_s: Floats
    rise_s: Floats
    height_m: Floats

    @property
    def count(self) -> int:
        return len(self.onset_s)

    def reach_lowest(self, height_m: Floats) -> tuple[Floats, Floats]:
        """When the drop's lowest point is at a height above the surface, and its speed there."""
        return self.fall.reach(height_m + 0.5 * self.fall.diameter_m)

    def tip(self, since_impact_s: Floats) -> Floats:
        """Height of the jet's tip at a time since drop 1's impact."""
        return tip_heights(
            since_impact_s, self.onset_s, self.height_m, self.rise_s, gravity=self.setting.gravity
        )

    def find_contacts(self, spacing_s: Floats | float) -> tuple[Floats, Floats]:
        """When drop 2, `spacing_s` behind drop 1, meets the jet: time since drop 2 came free, and height.

        NaN where it meets none: it strikes the cavity, or the surface after the jet has fallen.
        """
        behind = np.asarray(spacing_s, dtype=np.float64) - self.to_surface_s
        no_jet = self.tip(behind + self.to_surface_s) <= 0.0
        low, high = np.zeros(self.count), self.height_m.copy()
        for _ in range(14):  # 2^-14 of some cm: micrometres
            middle = 0.5 * (low + high)
            above = middle >= self.tip(behind + self.reach_lowest(middle)[0])
            high = np.where(above, middle, high)
            low = np.where(above, low, middle)
        height = 0.5 * (low + high)
        when = self.reach_lowest(height)[0]
        return np.where(no_jet, np.nan, when), np.where(no_jet, np.nan, height)


def draw_z(
    count: int,
    rng: np.random.Generator,
    mean: Floats | None = None,
    covariance: Floats | None = None,
) -> Floats:
    """Standard normal vectors, shape (count, unknowns), or normal ones with a mean and covariance."""
    z = rng.standard_normal((count, len(NAMES)))
    if mean is None or covariance is None:
        return z
    values, vectors = np.linalg.eigh(covariance)
    root = vectors * np.sqrt(np.maximum(values, 0.0))
    result: Floats = mean + z @ root.T
    return result


def make_draws(
    rig: Rig, setting: Setting, z: Floats, prior: JetPrior, *, opening_s: float | None = None
) -> Draws:
    """Work out what each rig of `z` does with a drop of its first valve (see `unknowns`)."""
    unknowns = list_unknowns(rig, setting, prior)
    values = {name: unknowns[name].at_all(z[:, i]) for i, name in enumerate(NAMES)}
    valve, gravity = rig.valves[0], setting.gravity
    nominal = compute_drop(valve, gravity, opening_s)
    diameter = np.clip(nominal * np.cbrt(values["volume_ratio"]), MIN_DIAMETER_M, MAX_DIAMETER_M)
    nozzle = valve.height_m + values["nozzle_error_m"]
    fall = Fall(
        setting=setting,
        diameter_m=diameter,
        start_height_m=nozzle - values["detachment_ratio"] * diameter,
        start_speed_m_s=values["start_speed_ratio"] * np.sqrt(0.5 * gravity * diameter),
    )
    to_surface, impact_speed = fall.reach(0.5 * diameter)
    to_edge, at_edge, dwell = np.full(len(z), np.nan), impact_speed, np.full(len(z), np.nan)
    if rig.beams:
        beam = rig.beams[0]
        height = beam.height_m + values["beam_error_m"]
        chord = np.sqrt(np.maximum(diameter**2 - 4.0 * beam.offset_m**2, 0.0))
        half = 0.5 * (chord + beam.width_m * values["beam_sense"])
        dark, at_dark = fall.reach(height + half)
        clear, at_clear = fall.reach(height - half)
        to_edge, at_edge = (dark, at_dark) if beam.edge == "dark" else (clear, at_clear)
        dwell = clear - dark
    # beamfall.physics.impact.cavity_radius_bound
    radius = diameter * (impact_speed**2 / (3.0 * gravity * diameter)) ** 0.25
    depth = estimate_depth_factor(rig.dish.depth_m) if rig.dish.depth_m >= SHALLOWEST_JET_M else 1.0
    jet_height = values["height_factor"] * depth * radius
    flash = rig.flashes[0].latency_s if rig.flashes else 0.0
    return Draws(
        setting=setting,
        z=z,
        values=values,
        fall=fall,
        latency_s=np.maximum(0.0, valve.latency_s + values["latency_error_s"]),
        flash_latency_s=flash * values["flash_latency_ratio"],
        to_edge_s=to_edge,
        speed_at_edge_m_s=at_edge,
        dwell_s=dwell,
        to_surface_s=to_surface,
        impact_speed_m_s=impact_speed,
        onset_s=values["onset_factor"] * np.sqrt(radius / gravity),
        rise_s=values["rise_factor"] * np.sqrt(2.0 * jet_height / gravity),
        height_m=jet_height,
    )
