"""The liquid's surface around the place where drop 1 struck, taken from the library of computed splashes.

The run whose dimensionless groups lie nearest gives the surface at the same moment of its own splash, scaled to the
simulated drop. Where a jet stands, its heights are stretched once more, so that the tip lies exactly where the
simulated truth has it. Sheets of umbrellas are not taken from the library: they become thinner than its cells and tear
there.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from typing import TYPE_CHECKING, Any

from beamfall.physics.computed import ComputedSplash, list_splashes
from beamfall.physics.gravity import STANDARD_GRAVITY
from beamfall.physics.impact import cavity_radius_bound
from beamfall.physics.jet import cavity_viscosity, onset_law
from beamfall.physics.liquids import Liquid

if TYPE_CHECKING:
    from beamfall.arrays import AnyFloats as Floats


REACH_MM = 22.0  # the surface is calm from here on
_TAPER_MM = 6.0  # in which the swell fades before that
_LEAST_CROWN_MM = 0.4
_LEAST_TOP_M = 5e-4  # of a stored jet that gives a shape
_CALM_AFTER_MS = 250.0  # later than any run lasts
#: Weights of the groups, about one over their spread in the library: Froude, Bond, viscosity, depth, jet's height.
_WEIGHTS = (1.4, 1.2, 0.7, 2.0, 1.5)


@dataclass(frozen=True)
class Crown:
    """Outer radius and height of the wall, and radius of its rim, in mm."""

    outer: float
    height: float
    rim: float


@dataclass(frozen=True)
class Surface:
    """`curve`: radius and height in mm from the axis outward, shape (n, 2); liquid is below it."""

    curve: Floats
    crown: Crown | None


@dataclass(frozen=True)
class _Impact:
    """What decides which run fits: cavity radius in m, groups, and when the jet starts and peaks after the impact."""

    radius_m: float
    groups: tuple[float, ...]
    onset_s: float
    top_s: float


def find_surface(scene: Mapping[str, Any], column: Mapping[str, Any]) -> Surface | None:
    """The surface of a scene's column at its light; None before drop 1 strikes and long after.

    Scenes in older logs hold neither the liquid nor the jet's course: they are drawn as water's.
    """
    import numpy as np

    since_ms = column["since_ms"]
    if not 0.0 < since_ms < _CALM_AFTER_MS:
        return None
    tip_m = 1e-3 * (column["jet_mm"] or 0.0)
    course = column.get("jet_course")
    height_m = 1e-3 * course[2] if course else tip_m
    impact = _describe(scene, column, height_m)
    run = _choose(impact, jet=tip_m > 0.0)
    scale = impact.radius_m / _run_impact(run).radius_m
    age_ms = max((entry[1] for entry in column["umbrellas"]), default=0.0)
    number = _find_moment(run, impact, 1e-3 * (since_ms - age_ms), tip_m / (height_m or 1.0), scale)
    curve = 1e3 * scale * run.read_surfaces()[1][number][0]
    if tip_m > 0.0:
        top = 1e3 * scale * _read_tops(run)[1][number]
        curve[curve[:, 1] > 0.0, 1] *= 1e3 * tip_m / top
    fade = np.clip((REACH_MM - curve[:, 0]) / _TAPER_MM, 0.0, 1.0)
    curve[:, 1] *= fade
    return Surface(curve, None if tip_m > 0.0 else _find_crown(curve, column["diameter_mm"]))


def _find_crown(curve: Floats, diameter: float) -> Crown | None:
    height = float(curve[:, 1].max())
    if height < _LEAST_CROWN_MM:
        return None
    outer = float(curve[curve[:, 1] > 0.6 * height, 0].max())
    return Crown(outer, height, min(0.5, 0.09 * diameter, 0.4 * height))


def _describe(scene: Mapping[str, Any], column: Mapping[str, Any], height_m: float) -> _Impact:
    density, viscosity, tension = scene.get("liquid", (998.0, 1.0, 72.7))
    liquid = Liquid("scene", density, viscosity * 1e-3, tension * 1e-3)
    depth_m = 1e-3 * scene["frame_mm"][2]
    return _find_impact(
        1e-3 * column["diameter_mm"], column["speed_m_s"], liquid, depth_m, height_m,
        column.get("jet_course"),
    )  # fmt: skip


def _find_impact(
    diameter_m: float, speed_m_s: float, liquid: Liquid, depth_m: float, height_m: float,
    course_ms: tuple[float, ...] | None,
) -> _Impact:  # fmt: skip
    gravity = STANDARD_GRAVITY
    froude = speed_m_s**2 / (gravity * diameter_m)
    radius = cavity_radius_bound(diameter_m, froude)
    viscosity = cavity_viscosity(liquid, speed_m_s, radius)
    if course_ms:
        onset, top = 1e-3 * course_ms[0], 1e-3 * (course_ms[0] + course_ms[1])
    else:
        onset = onset_law(radius, liquid, viscosity, depth_m, gravity)
        top = onset + math.sqrt(2.0 * max(height_m, 0.2 * radius) / gravity)
    groups = (
        math.log(froude),
        math.log(liquid.density_kg_m3 * gravity * radius**2 / liquid.surface_tension_n_m),
        math.log(viscosity / math.sqrt(gravity * radius**3)),
        min(1.5, depth_m / radius),
        math.log(max(height_m, 0.1 * radius) / radius),
    )
    return _Impact(radius, groups, onset, top)


@cache
def _run_impact(run: ComputedSplash) -> _Impact:
    jet = run.jet
    course = None if jet is None else (1e3 * jet.onset_s, 1e3 * jet.rise_s)
    height = 0.0 if jet is None else jet.height_m
    return _find_impact(run.diameter_m, run.speed_m_s, run.liquid, run.depth_m, height, course)


def _choose(impact: _Impact, *, jet: bool) -> ComputedSplash:
    """The nearest run with one drop, on its finest mesh."""

    def distance(run: ComputedSplash) -> tuple[float, int]:
        pairs = zip(_WEIGHTS, impact.groups, _run_impact(run).groups, strict=True)
        return sum((weight * (one - other)) ** 2 for weight, one, other in pairs), -run.level

    fits = [run for run in list_splashes() if run.second is None and (not jet or run.jet)]
    nearest = min(fits, key=distance)
    return max((run for run in fits if run.case == nearest.case), key=lambda run: run.level)


def _find_moment(
    run: ComputedSplash, impact: _Impact, since_s: float, share: float, scale: float
) -> int:
    """The number of the stored surface at that moment of a run's own splash; `share`: of the jet's height."""
    import numpy as np

    own = _run_impact(run)
    times, tops = _read_tops(run)
    if share <= 0.0:
        slower = own.onset_s / impact.onset_s if run.jet else 1.0 / math.sqrt(scale)
        return int(np.argmin(np.abs(times - since_s * slower)))
    rising = np.flatnonzero((times > own.onset_s) & (times <= own.top_s + 5e-3))
    highest = int(rising[np.argmax(tops[rising])])
    least = min(_LEAST_TOP_M, tops[highest])
    wanted = max(share * tops[highest], least)
    if since_s <= impact.top_s:
        return int(rising[np.argmax(tops[rising] >= wanted)])
    later = np.arange(highest, len(times))
    standing = later[np.logical_and.accumulate(tops[later] >= least)]
    low = np.flatnonzero(tops[standing] <= wanted)
    return int(standing[low[0]] if low.size else standing[-1])


@cache
def _read_tops(run: ComputedSplash) -> tuple[Floats, Floats]:
    """Times of a run's surfaces in s, and how high each stands near the axis in m."""
    import numpy as np

    times, frames = run.read_surfaces()
    near = [frame[0][frame[0][:, 0] < 0.6 * run.diameter_m, 1] for frame in frames]
    return times, np.array([float(one.max()) for one in near])
