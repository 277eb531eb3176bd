"""What is in the simulated camera's frame at a light, in plain values: drawn from a rig and from the log alike."""

from __future__ import annotations

import math
from typing import Any

from beamfall.physics.umbrella import umbrella_radius
from beamfall.sim.collision import Column, Contact, find_meeting_speed, see_picture
from beamfall.sim.drops import Drop, find_height, reach
from beamfall.sim.model import RigModel
from beamfall.sim.rig import Splash

Scene = dict[str, Any]

BELOW_MM = 22.0  # of the frame below the surface, in scenes that do not say
DROPLET_SHARE = 0.8  # of the jet's droplet, of drop 1's diameter (our choice)
_GAP_SHARE = 0.4  # how far the jet stays behind its droplet, of what that has fallen (our choice)


def make_scene(splash: Splash, model: RigModel, light: int = 0) -> Scene:
    """Return what a splash shows at one of its lights (the last where there are fewer), lengths in mm.

    `frame_mm`: width, height above the surface, depth of the dish; `below_mm`: of the frame below the surface.
    `look`: see `sim.look.Look`. `flash_ms`: duration of the light. `lit`: whether any light reached the camera.
    `liquid`: density in kg/m³, viscosity in mPa·s, surface tension in mN/m.
    `columns`: one for each place where drops fell, see `_describe_column`.
    """
    lit = bool(splash.lights)
    scene: Scene = {
        "frame_mm": [
            _round(1e3 * one)
            for one in (model.frame_width_m, model.frame_height_m, model.dish_depth_m)
        ],
        "below_mm": _round(1e3 * model.frame_below_m),
        "liquid": [
            _round(model.liquid.density_kg_m3),
            _round(1e3 * model.liquid.viscosity_pa_s),
            _round(1e3 * model.liquid.surface_tension_n_m),
        ],
        "look": model.look.to_plain(),
        "lit": lit,
        "columns": [],
    }
    if lit:
        _, when_s, until_s = splash.lights[min(light, len(splash.lights) - 1)]
        scene["flash_ms"] = round((until_s - when_s) * 1e3, 5)
        scene["columns"] = [
            _describe_column(column, model, when_s) for column in splash.columns if column.recent
        ]
    return scene


def _describe_column(column: Column, model: RigModel, when_s: float) -> dict[str, Any]:
    """`x_mm` counts from the middle of the picture to where drop 1 struck; `since_ms`: after its impact, else 0.

    `jet_course`: when the jet starts after the impact and how long it rises, in ms, and how high, in mm.
    `umbrellas`: height, age in ms, radius, and diameter of its drop. `drops`: x, y, radius and speed in m/s of each
    that still falls, the jet's own droplet too. Both end with a `look.Dye` where the drop has a liquid of its own.
    """
    first = column.recent[0]
    place = first.place_m * 1e3
    picture = see_picture(model, column, when_s)
    met = [contact for contact in column.contacts if when_s >= contact.when_s]
    hit = picture.shows == "after" and bool(met)
    drops = []
    for number, drop in enumerate(column.recent):
        lowest_m = find_height(model, drop, when_s)
        if lowest_m is None or (hit and 0 < number <= len(met)):
            continue
        radius = 0.5e3 * drop.diameter_m
        speed = reach(model, drop, lowest_m + 0.5 * drop.diameter_m)[1]
        place_mm = _round((drop.place_m + drop.aim_m[0]) * 1e3)
        drops.append(
            [
                place_mm,
                _round(lowest_m * 1e3 + radius),
                _round(radius),
                _round(speed),
                *_find_dye(drop),
            ]
        )
    jet_m = met[-1].height_m if hit and picture.jet_m else picture.jet_m
    if picture.shows == "droplet" and jet_m and column.jet is not None:
        radius_m = 0.5 * DROPLET_SHARE * first.diameter_m
        fallen_m = column.jet.height_m - jet_m
        speed = math.sqrt(2.0 * model.gravity * max(0.0, fallen_m))
        place_mm = _round(place + first.aim_m[0] * 1e3)
        height_mm = _round((jet_m - radius_m) * 1e3)
        drops.append([place_mm, height_mm, _round(1e3 * radius_m), _round(speed)])
        jet_m = max(0.0, jet_m - 2.0 * radius_m - _GAP_SHARE * fallen_m)
    return {
        "x_mm": _round(place + first.aim_m[0] * 1e3),
        "diameter_mm": _round(first.diameter_m * 1e3),
        "speed_m_s": _round(first.impact_speed_m_s),
        "since_ms": _round(max(0.0, when_s - first.impact_s) * 1e3),
        "jet_mm": _round(jet_m * 1e3) if jet_m else None,
        "jet_course": None
        if column.jet is None
        else [
            _round(1e3 * (column.jet.starts_s - first.impact_s)),
            _round(1e3 * column.jet.rise_s),
            _round(1e3 * column.jet.height_m),
        ],
        "umbrellas": [
            _describe_umbrella(model, column, drop, contact, when_s)
            for drop, contact in zip(column.recent[1:], met if hit else (), strict=False)
        ],
        "drops": drops,
    }


def _describe_umbrella(
    model: RigModel, column: Column, drop: Drop, contact: Contact, when_s: float
) -> list[Any]:
    age_s = when_s - contact.when_s
    jet = column.jet if contact is column.contacts[0] else None
    speed = find_meeting_speed(model, jet, drop, contact)
    radius_m = umbrella_radius(
        age_s,
        drop.diameter_m,
        speed,
        drop.liquid,
        speed_factor=model.sheet_speed_factor,
        time_factor=model.sheet_time_factor,
    )
    sizes = (contact.height_m * 1e3, age_s * 1e3, radius_m * 1e3, drop.diameter_m * 1e3)
    return [*(_round(one) for one in sizes), *_find_dye(drop)]


def _find_dye(drop: Drop) -> list[list[float]]:
    """The dye of a drop from a bottle of its own, as the last value of an entry."""
    return [] if drop.dye is None else [[_round(one) for one in drop.dye]]


def _round(value: float) -> float:
    return round(value, 3)
