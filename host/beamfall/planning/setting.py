"""The rig as the physics sees it: its liquid, air, gravity, and the drop its valve should make."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Any

from beamfall.errors import PhysicsRangeError
from beamfall.physics.air import Air, air_at
from beamfall.physics.drops import (
    ValveFlow,
    compute_diameter,
    start_speed,
    valve_flow,
    valve_volume,
)
from beamfall.physics.fall import MAX_DIAMETER_M, MIN_DIAMETER_M, Conditions
from beamfall.physics.gravity import local_gravity
from beamfall.physics.liquids import BASES, INGREDIENTS, Liquid, mix_by_parts
from beamfall.physics.thickeners import THICKENERS, thicken
from beamfall.setup.rig import Rig
from beamfall.setup.rig_sections import LiquidInRig, Valve
from beamfall.setup.units import quote

BEAM_SENSE = 0.8  # share of the beam's width that counts (estimate)
LENGTH_M = 0.02  # of a valve's narrow path, where a rig file does not say it (our choice)


@dataclass(frozen=True)
class Setting:
    """Liquid, air and gravity around the drops of a rig, SI units."""

    liquid: Liquid
    air: Air
    gravity: float

    @property
    def conditions(self) -> Conditions:
        """What a fall asks of them."""
        liquid = self.liquid
        return Conditions(liquid.density_kg_m3, liquid.surface_tension_n_m, self.air, self.gravity)


def make_setting(rig: Rig, valve: str | None = None) -> Setting:
    """Return what the rig file says about site and liquid: the dish's, or that of a valve's drops.

    Raises PhysicsRangeError naming the key.
    """
    site = rig.site
    liquid = rig.liquid if valve is None else rig.find_liquid(valve)
    return Setting(
        liquid=make_liquid(liquid, "liquid" if liquid is rig.liquid else f"bottle of {valve}"),
        air=air_at(site.air_temperature_k, site.air_pressure_pa, site.altitude_m),
        gravity=local_gravity(site.latitude_deg, site.altitude_m),
    )


@lru_cache(maxsize=16)
def make_liquid(entry: LiquidInRig, table: str = "liquid") -> Liquid:
    """Return the liquid of a rig file's table; the user's own measurements override the tables."""
    parts = dict(entry.parts) if entry.parts else {entry.name: 1.0}
    if not entry.parts and entry.name not in INGREDIENTS:
        raise PhysicsRangeError(
            f"{table}.name = {quote(entry.name)} is unknown; known are {', '.join(BASES)}; "
            f"for a mixture give {table}.parts (by volume) of {', '.join(INGREDIENTS)}",
            key=f"{table}.name", quantity="name of a liquid", found=entry.name,
        )  # fmt: skip
    if not entry.parts and entry.name not in BASES:
        raise PhysicsRangeError(
            f"{table}.name = {quote(entry.name)} is only an addition; give the whole mixture, such as "
            f"parts = {{ water = 100, {entry.name} = 1 }}",
            key=f"{table}.name", quantity="name of a liquid", found=entry.name,
        )  # fmt: skip
    liquid = mix_by_parts(parts, entry.temperature_k)
    for name, dose in entry.grams:
        if name not in THICKENERS:
            raise PhysicsRangeError(
                f"{table}.grams of {quote(name)}: unknown; known are {', '.join(THICKENERS)}",
                key=f"{table}.grams", quantity="name of a thickener", found=name,
            )  # fmt: skip
        liquid = thicken(liquid, name, dose)
    measured = {
        key: value
        for key in ("density_kg_m3", "viscosity_pa_s", "surface_tension_n_m")
        if (value := getattr(entry, key)) is not None
    }
    if not measured:
        return liquid
    if "viscosity_pa_s" in measured:
        measured["consistency"] = measured["viscosity_pa_s"]
    return replace(
        liquid, name=entry.name, unknown=liquid.unknown - frozenset(measured), **measured
    )


def compute_flow(valve: Valve, setting: Setting) -> ValveFlow:
    """Flow through an open valve, from head, bore, length and discharge of the rig file."""
    return valve_flow(
        valve.head_m,
        valve.bore_m,
        LENGTH_M if valve.length_m is None else valve.length_m,
        setting.liquid,
        discharge=valve.discharge,
        gravity=setting.gravity,
    )


def compute_drop(valve: Valve, setting: Setting, *, stream: bool = False) -> float:
    """Diameter in m of the drop that the valve's opening should make; with `stream`, of a stream's head at most.

    Raises PhysicsRangeError if it is outside 1-5.5 mm, with the opening that would do.
    """
    flow = compute_flow(valve, setting)
    opening = valve.opening_s
    volume = valve_volume(flow, opening, lag_s=valve.lag_s)
    least, most = (math.pi / 6.0 * d**3 for d in (MIN_DIAMETER_M, MAX_DIAMETER_M))
    if volume > most and stream:
        return MAX_DIAMETER_M
    if not least <= volume <= most:
        shortest, longest = (find_opening(valve, setting, v) for v in (least, most))
        much, cure = (
            ("too much", "less head or a smaller bore")
            if volume > most
            else ("too little", "more head or a larger bore")
        )
        raise PhysicsRangeError(
            f"opening of {valve.output} = {opening * 1e3:.4g} ms lets {volume * 1e9:.4g} µL through "
            f"(head {valve.head_m * 100:.4g} cm, bore {valve.bore_m * 1e3:.4g} mm), {much} for one drop of 1 to "
            f"5.5 mm: set opening between {shortest * 1e3:.3g} and {longest * 1e3:.3g} ms, or use {cure}",
            key=f"{valve.output}.opening", quantity=f"opening of {valve.output}", found=opening,
            low=shortest, high=longest,
        )  # fmt: skip
    return compute_diameter(volume)


def find_latency(valve: Valve) -> float:
    """Return the time in s from the valve's command until its drop comes free: the file's guess, or the opening if that
    is longer. Until the valve has closed, liquid flows on and no neck breaks.
    """
    return max(valve.latency_s, valve.opening_s)


def find_opening(
    valve: Valve, setting: Setting, volume_m3: float = math.pi / 6.0 * MAX_DIAMETER_M**3
) -> float:
    """The opening in s that lets a volume through, that of the largest drop by default: a longer one pours a stream."""
    return compute_flow(valve, setting).find_opening(volume_m3) + valve.lag_s


def compute_start_speed(
    valve: Valve,
    setting: Setting,
    diameter_m: Any,
    volume_ratio: Any = 1.0,
    opening_s: float | None = None,
) -> Any:
    """Speed in m/s of a drop as it comes free; floats or arrays.

    `volume_ratio`: by how much the valve passes more than the rig file says.
    """
    flow = compute_flow(valve, setting)
    opening = valve.opening_s if opening_s is None else opening_s
    mouth = volume_ratio * flow.compute_push(max(0.0, opening - valve.lag_s))
    return start_speed(diameter_m, mouth, valve.bore_m, setting.liquid, gravity=setting.gravity)
