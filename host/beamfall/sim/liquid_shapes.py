"""The liquid of a scene as solids: bodies of revolution around each place where drops fell, and spheres.

A body is a signed distance (mm, negative inside) on a grid of radius and height, so that jet, umbrella, crown and
surface flow into one another. Sizes that a scene holds (tip, radius of the umbrella, drops) are kept exactly. Surface,
crown and jet are computed ones (`splash_surface`); how a sheet looks, and a crown's fingers, is our choice.
"""

from __future__ import annotations

import itertools
import math
import random
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from beamfall.arrays import AnyFloats as Floats
from beamfall.physics.umbrella import umbrella_radius
from beamfall.sim.look import Dye
from beamfall.sim.splash_surface import REACH_MM, Crown, Surface, find_surface

STEP_MM = 0.1  # of the grid
LOWEST_MM = -7.0  # of its rows
_DISTANT_MM = 6.0  # distances are not measured beyond it
_RIPPLE_SPEED = 0.27  # mm per ms: of short waves on water
_RIPPLE_MM = 0.3
_MEETING_M_S = 3.0  # of a scene of an older log


@dataclass(frozen=True)
class Sheet:
    """An umbrella's sizes in mm: height of the sheet at its middle, outer radius, radius of the rim, sag of the rim
    below the middle, height of the highest point."""

    height: float
    radius: float
    rim: float
    sag: float
    top: float


@dataclass(frozen=True)
class Body:
    """One body of revolution; `distance`, `slope_r` and `slope_z` have shape (heights, radii)."""

    x: float
    distance: Floats
    slope_r: Floats
    slope_z: Floats
    reach: float  # no liquid above the ripples beyond this radius
    top: float
    widest: Floats  # radius of the liquid at each height
    sheets: tuple[tuple[float, Dye], ...] = ()  # lower ends of umbrellas with a dye of their own


@dataclass(frozen=True)
class Solids:
    """`spheres`: x, depth behind the middle plane, height, radius, falling speed in m/s; shape (n, 5)."""

    bodies: tuple[Body, ...]
    spheres: Floats
    dyes: Mapping[int, Dye]  # of spheres that have one of their own
    ripples: tuple[tuple[float, float], ...]  # x and radius of the outermost ring


def describe_sheet(height: float, age_ms: float, diameter: float, radius: float) -> Sheet:
    """An umbrella of that age and radius, made by a drop of that diameter."""
    rim = 0.5 * max(0.55, 0.24 * diameter * (1.0 - math.exp(-age_ms / 4.0)) + 0.3)
    sag = 0.085 * max(0.0, radius - 0.5 * diameter) * math.sqrt(max(age_ms, 0.0))
    dome = 0.9 + 0.5 * diameter * math.exp(-age_ms / 3.0)
    sunk = diameter - 2.6 * age_ms  # what is left of the drop above the sheet
    return Sheet(height, radius, rim, sag, height + max(dome, sunk))


def find_sheet(entry: list[float], column: Mapping[str, Any]) -> Sheet:
    """The umbrella of a scene's entry: height, age and, in newer logs, radius and the drop's diameter."""
    height, age_ms, *rest = entry
    diameter = rest[1] if len(rest) > 1 else column["diameter_mm"]
    radius = (
        rest[0] if rest else 1e3 * umbrella_radius(age_ms * 1e-3, diameter * 1e-3, _MEETING_M_S)
    )
    return describe_sheet(height, age_ms, diameter, radius)


def make_solids(scene: Mapping[str, Any]) -> Solids:
    """Build what a scene (see `sim.scene`) holds."""
    bodies: list[Body] = []
    spheres: list[tuple[float, ...]] = []
    dyes: dict[int, Dye] = {}
    ripples: list[tuple[float, float]] = []
    for column in scene["columns"]:
        for x, y, radius, *speed in column["drops"]:
            if len(speed) > 1:
                dyes[len(spheres)] = _read_dye(speed[1])
            spheres.append((x, 0.0, y, radius, speed[0] if speed else column["speed_m_s"]))
        surface = find_surface(scene, column)
        if surface is None:
            continue
        bodies.append(_build_body(column, surface))
        spheres += _crown_drops(column, surface.crown)
        for entry in column["umbrellas"]:
            beads = _rim_drops(find_sheet(entry, column), entry[1], column["x_mm"])
            if len(entry) > 4:
                first, dye = len(spheres), _read_dye(entry[4])
                dyes |= dict.fromkeys(range(first, first + len(beads)), dye)
            spheres += beads
        ripples.append((column["x_mm"], 3.0 + _RIPPLE_SPEED * column["since_ms"]))
    table = np.array(spheres, dtype=np.float32).reshape(-1, 5)
    return Solids(tuple(bodies), table, dyes, tuple(ripples))


def _read_dye(values: Sequence[float]) -> Dye:
    red, green, blue, cloudiness = (float(one) for one in values)
    return red, green, blue, cloudiness


def ripple_slope(radius: Floats, front: float) -> Floats:
    """Slope dz/dr of the rings around a place, at those radii."""
    wave = 2.2 + 0.10 * radius  # mm, longer outside
    envelope = np.exp(-(((radius - 0.75 * front) / (0.35 * front + 1.0)) ** 2))
    return (_RIPPLE_MM / wave * envelope * np.cos((radius - front) / wave * 2.0)).astype(np.float32)


def _blend(a: Floats, b: Floats, width: float) -> Floats:
    """Union of two distances with a fillet of that width (polynomial smooth minimum)."""
    near = np.maximum(width - np.abs(a - b), 0.0) / width
    made: Floats = (np.minimum(a, b) - near * near * width * 0.25).astype(np.float32)
    return made


def _build_body(column: Mapping[str, Any], surface: Surface) -> Body:
    from scipy.ndimage import gaussian_filter

    sheets = [find_sheet(entry, column) for entry in column["umbrellas"]]
    reach = max([REACH_MM, *(sheet.radius + 1.5 for sheet in sheets)])
    top = max([float(surface.curve[:, 1].max()), *(sheet.top for sheet in sheets)]) + 1.5
    r = np.arange(0.0, reach + 2.0 * STEP_MM, STEP_MM, dtype=np.float32)[None, :]
    z = np.arange(LOWEST_MM, top + 2.0 * STEP_MM, STEP_MM, dtype=np.float32)[:, None]
    distance = _measure_distance(surface.curve, r, z)
    for sheet in sheets:
        distance = _blend(distance, _umbrella(r, z, sheet), 1.3)
    liquid = np.where((distance < 0.0) & (z > 0.3), r, 0.0).max(axis=1)
    smooth = gaussian_filter(distance, 1.2, mode="nearest").astype(np.float32)
    slope_z, slope_r = np.gradient(smooth, STEP_MM)
    slope_r[:, 0] = 0.0
    dyed = tuple(
        (sheet.height - sheet.sag - 2.0 * sheet.rim, _read_dye(entry[4]))
        for sheet, entry in zip(sheets, column["umbrellas"], strict=True)
        if len(entry) > 4
    )
    return Body(
        column["x_mm"], smooth, slope_r.astype(np.float32), slope_z.astype(np.float32),
        reach, top, liquid.astype(np.float32), dyed,
    )  # fmt: skip


def _measure_distance(curve: Floats, r: Floats, z: Floats) -> Floats:
    """Signed distance of a grid's points from a surface with liquid below it, in mm; at most `_DISTANT_MM`."""
    from PIL import Image, ImageDraw

    low = LOWEST_MM - 2.0
    inside = curve.clip(min=(0.0, low + 1.0))
    outline = np.vstack([[(0.0, low)], inside, [(r.max() + 1.0, 0.0), (r.max() + 1.0, low)]])
    mask = Image.new("1", (r.size, z.size))
    places = (outline - (float(r.min()), float(z.min()))) / STEP_MM
    ImageDraw.Draw(mask).polygon([(float(x), float(y)) for x, y in places], fill=1)
    square = np.full((z.size, r.size), _DISTANT_MM**2, dtype=np.float32)
    for begin, end in itertools.pairwise(inside.astype(np.float32)):
        columns, rows = _window(r, begin[0], end[0]), _window(z, begin[1], end[1])
        x, y = r[:, columns] - begin[0], z[rows] - begin[1]
        way = end - begin
        share = (x * way[0] + y * way[1]) / max(float(way @ way), 1e-12)
        share = np.clip(share, 0.0, 1.0)  # along the line from `begin` to `end`
        near = square[rows, columns]
        np.minimum(near, (x - share * way[0]) ** 2 + (y - share * way[1]) ** 2, out=near)
    far = np.sqrt(square)
    made: Floats = np.where(np.array(mask), -far, far)
    return made


def _window(axis: Floats, begin: float, end: float) -> slice:
    """Places on the grid's axis that may be less than `_DISTANT_MM` away from a line between these values."""
    ends = (min(begin, end) - _DISTANT_MM, max(begin, end) + _DISTANT_MM)
    first, after = np.searchsorted(axis.ravel(), ends)
    return slice(int(first), int(after))


def _umbrella(r: Floats, z: Floats, sheet: Sheet) -> Floats:
    ring = sheet.radius - sheet.rim  # of the rim's middle
    share = np.minimum(r / ring, 1.0)
    middle = sheet.height - sheet.sag * share**2.2
    half = np.float32(0.16) + np.float32(0.25) * np.exp(-(((1.0 - share) / 0.25) ** 2))
    leaf = np.maximum(np.abs(z - middle) - half, r - ring)
    torus = np.hypot(r - ring, z - (sheet.height - sheet.sag)) - sheet.rim
    high = sheet.top - sheet.height
    wide = min(0.85 * sheet.radius, max(high, 0.5) * 1.15)
    dome = (np.hypot(r / wide, np.maximum(z - sheet.height, 0.0) / high) - 1.0) * min(wide, high)
    dome = np.maximum(dome, sheet.height - 0.4 - z)
    return _blend(_blend(leaf, torus, 0.5), dome, 1.0)


def _crown_drops(column: Mapping[str, Any], crown: Crown | None) -> list[tuple[float, ...]]:
    """Fingers on the crown's rim, each with its droplet; computed crowns have none."""
    if crown is None or crown.height < 1.0:
        return []
    draws = random.Random(f"crown {column['x_mm']} {column['diameter_mm']}")
    made: list[tuple[float, ...]] = []
    count = 17
    grown = min(1.0, column["since_ms"] / 6.0)
    for finger in range(count):
        angle = (finger + 0.3 * draws.uniform(-1.0, 1.0)) / count * 2.0 * math.pi
        long = min(column["diameter_mm"] * grown, crown.height) * draws.uniform(0.2, 0.75)
        size = crown.rim * draws.uniform(0.9, 1.5)
        steps = max(2, round(long / (0.45 * size)))
        for step in range(steps + 1):
            share = step / steps
            out = crown.outer - crown.rim + 0.35 * long * share
            radius = size if step == steps else crown.rim * (0.8 - 0.4 * share)
            made.append(
                (column["x_mm"] + out * math.cos(angle), out * math.sin(angle),
                 crown.height - crown.rim + long * share, radius, 0.0)
            )  # fmt: skip
        if draws.random() < 0.5 and grown >= 1.0:
            away = crown.outer + 0.35 * long + draws.uniform(1.0, 3.0)
            made.append(
                (column["x_mm"] + away * math.cos(angle), away * math.sin(angle),
                 crown.height + long + draws.uniform(0.8, 3.0), size * draws.uniform(0.5, 0.9), 0.0)
            )  # fmt: skip
    return made


def _rim_drops(sheet: Sheet, age_ms: float, x: float) -> list[tuple[float, ...]]:
    """Beads on the umbrella's rim, inside its radius; from 4 ms on some have come free."""
    if age_ms < 1.2:
        return []
    draws = random.Random(f"rim {sheet.height}")
    count = 22
    ring, low = sheet.radius - sheet.rim, sheet.height - sheet.sag
    bead = sheet.rim * min(1.45, 1.0 + 0.08 * age_ms)
    made: list[tuple[float, ...]] = []
    for number in range(count):
        angle = (number + 0.3 * draws.uniform(-1.0, 1.0)) / count * 2.0 * math.pi
        size = bead * draws.uniform(0.8, 1.0)
        out = sheet.radius - size
        made.append((x + out * math.cos(angle), out * math.sin(angle), low, size, 0.0))
        if age_ms > 4.0 and draws.random() < 0.35:
            away = ring - draws.uniform(0.0, 1.5)
            made.append(
                (x + away * math.cos(angle), away * math.sin(angle),
                 low - 0.35 * age_ms * draws.uniform(0.3, 1.0) - size, size * 0.7, 0.0)
            )  # fmt: skip
    return made
