"""Time since drop 2 met the jet in one picture: from the gap, the umbrella's width, and the drop's expected place."""

from __future__ import annotations

import math
from typing import Any

from beamfall.photos.measure.result import Measured, Scene, Value, move_expected
from beamfall.physics.liquids import Liquid
from beamfall.physics.umbrella import SPEED_SPREAD, TIME_SPREAD, spread_out, umbrella_age

_USUAL_SPEED_M_S, _USUAL_SPEED_ERROR = 3.6, 0.25
_OLDEST_MS, _STEP_MS = 15.0, 0.02
#: Standard deviation of a sheet's radius about its law.
RADIUS_SHARE = 0.02
#: How high a splash stands above the contact once drop 2 is used up, in its diameters, with its standard error: the jet
#: carries the sheet on, the drop's push lets it sink (estimate).
DOME, DOME_ERROR = 0.15, 0.3


def find_cap(age_ms: Any, drop_mm: Any, speed_m_s: Any) -> Any:
    """How high in mm the highest liquid stands above the contact; floats or arrays.

    The top of drop 2 falls on at its speed, and slows down as the drop is used up (estimate).
    """
    return drop_mm * (DOME + math.e ** (-speed_m_s * age_ms / drop_mm))


def meeting_speed(scene: Scene) -> tuple[float, float]:
    """Speed of drop 2 against the jet in m/s, and its relative error: as known, else a usual one."""
    if scene.meeting_speed_m_s is None:
        return _USUAL_SPEED_M_S, _USUAL_SPEED_ERROR
    return scene.meeting_speed_m_s, scene.meeting_speed_error


def find_age(made: Measured, scene: Scene) -> Value | None:
    """Time since drop 2 met the jet, negative before it; None if the picture does not say, or without a scale."""
    if made.px_per_mm is None:
        return None
    speed, share = meeting_speed(scene)
    if made.stage in ("before", "contact") and "tip" in made.marks and "drop" in made.marks:
        tip, drop = made.marks["tip"], made.marks["drop"]
        short = made.px_per_mm * math.cos(
            math.radians(made.looks_down.value if made.looks_down else 0.0)
        )
        gap = (tip.row - drop.row) / short
        error = math.hypot(tip.error, drop.error) / short
        # 1 mm per ms is 1 m/s.
        return Value(-gap / speed, math.hypot(error / speed, share * gap / speed))
    wide, drop_m = made.umbrella_diameter, scene.drop_diameter_m
    if made.stage == "after" and drop_m is not None and made.expected is not None:
        return _find_age_by_log(made, scene, drop_m)
    if wide is None or drop_m is None:
        return None

    def age(radius_mm: float, drop_m: float, speed: float) -> tuple[float, float] | None:
        return umbrella_age(radius_mm * 1e-3, drop_m, speed, scene.liquid)

    best = age(0.5 * wide.value, drop_m, speed)
    if best is None:
        return None
    shifts = [
        age(0.5 * (wide.value + wide.error), drop_m, speed),
        age(0.5 * wide.value, drop_m * (1.0 + scene.drop_diameter_error), speed),
        age(0.5 * wide.value, drop_m, speed * (1.0 + share)),
    ]
    spread = [best[1], *((one[0] if one else 2.0 * best[0]) - best[0] for one in shifts)]
    return Value(1e3 * best[0], 1e3 * math.sqrt(sum(one * one for one in spread)))


def _find_age_by_log(made: Measured, scene: Scene, drop_m: float) -> Value | None:
    """The age of an umbrella by its width and by how far above drop 2's expected place it stands, over all ages."""
    import numpy as np

    age_ms = np.arange(0.0, _OLDEST_MS, _STEP_MS)
    off = np.zeros_like(age_ms)
    if (wide := made.umbrella_diameter) is not None:
        radius, error = _spread_sheet(1e-3 * age_ms, scene, drop_m, scene.liquid)
        off += ((radius - 0.5e-3 * wide.value) / np.hypot(error, 0.5e-3 * wide.error)) ** 2
    top = made.umbrella_height
    assert made.expected is not None
    if top is not None:
        last = move_expected(made.expected, scene.drop_offset_m)
        high = find_cap(age_ms, 1e3 * drop_m, last.speed_m_s) + last.speed_m_s * age_ms
        error_mm = math.hypot(1e3 * last.error_m, DOME_ERROR * 1e3 * drop_m, top.error)
        off += ((top.value - 1e3 * last.height_m - high) / error_mm) ** 2
    elif wide is None:
        return None
    weights = np.exp(-0.5 * (off - off.min()))
    mean = float(np.average(age_ms, weights=weights))
    return Value(mean, math.sqrt(float(np.average((age_ms - mean) ** 2, weights=weights))))


def _spread_sheet(age_s: Any, scene: Scene, drop_m: float, liquid: Liquid) -> tuple[Any, Any]:
    """Radius of a sheet in m, and its standard error from the spread between rigs."""
    import numpy as np

    speed, share = meeting_speed(scene)
    radius = spread_out(age_s, drop_m, speed, liquid)
    by_speed = math.exp(math.hypot(SPEED_SPREAD, share))
    shifts = (
        spread_out(age_s, drop_m, speed * by_speed, liquid),
        spread_out(age_s, drop_m, speed, liquid, time_factor=math.exp(TIME_SPREAD)),
        spread_out(age_s, drop_m * (1.0 + scene.drop_diameter_error), speed, liquid),
    )
    squares = sum((one - radius) ** 2 for one in shifts)
    return radius, np.sqrt(squares + (RADIUS_SHARE * radius) ** 2)
