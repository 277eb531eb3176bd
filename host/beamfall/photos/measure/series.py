"""Pictures of one camera that did not move, measured together: they share the surface, and what they say of time."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

from beamfall.errors import PictureError
from beamfall.photos.measure.age import DOME_ERROR, RADIUS_SHARE, find_age, find_cap, meeting_speed
from beamfall.photos.measure.result import Measured, Scene, Value, move_expected
from beamfall.photos.measure.run import measure
from beamfall.physics.expected_drop import ExpectedDrop
from beamfall.physics.umbrella import SPEED_SPREAD, TIME_SPREAD, spread_out

_CLOSE = 0.012  # of the height: surfaces of pictures that agree
_SCATTER_MS = 0.25  # standard deviation of the contact from shot to shot at one setting (estimate)
# By how much the offset of expected drops may still be off, however many pictures agree.
_OFFSET_MM = 0.3
# What all umbrellas of a rig share of the error of how high a splash stands above the contact (estimate).
_SAME_DOME = 0.8
_OFF_MOST = 3.0  # standard errors by which a picture may be off its series


def measure_series(
    paths: Sequence[Path],
    scene: Scene | None = None,
    lights_ms: Mapping[Path, float] | None = None,
    expected: Mapping[Path, tuple[ExpectedDrop | None, ...]] | None = None,
) -> list[Measured | PictureError]:
    """Measure pictures of one camera that did not move: those that do not show the surface, or by what angle the camera
    looks down, take it from the others.

    `lights_ms`: when the light came, of pictures that one spacing made, counted from drop 2's beam edge or any other
    start that they share; their times since contact are then found together (`date_series`). `expected`: as
    `Scene.expected`, by picture. A picture that cannot be read gives its error.
    """
    known = scene or Scene()
    made: list[Measured | PictureError] = []
    logged = expected or {}
    for path in paths:
        try:
            made.append(measure(path, replace(known, expected=logged.get(path, ()))))
        except PictureError as error:
            made.append(error)
    good = [one for one in made if isinstance(one, Measured)]
    again = share_scene(good, known)
    if again != known:
        made = [
            measure(one.path, replace(again, expected=logged.get(one.path, ())))
            if isinstance(one, Measured) and one.path is not None and lacks(one, again)
            else one
            for one in made
        ]
    lights = lights_ms or {}
    timed = [one for one in made if isinstance(one, Measured) and one.path in lights]
    dated = date_series([(one, lights[one.path]) for one in timed if one.path], again)
    by_path = {one.path: one for one in dated}
    made = [by_path.get(one.path, one) if isinstance(one, Measured) else one for one in made]
    return [  # one that stands alone also gets its age from where the others have shown drops to be
        replace(one, since_contact_ms=find_age(one, again))
        if isinstance(one, Measured) and one.expected is not None and one.path not in by_path
        else one
        for one in made
    ]


def share_scene(measured: Sequence[Measured], known: Scene) -> Scene:
    """What is known about a series once its pictures have been measured: the surface, the camera's angle, and how far
    drops are from where they are expected."""
    shared = share_surface(measured) if known.surface_row is None else None
    angles = sorted(one.looks_down.value for one in measured if one.looks_down is not None)
    made = known if shared is None else replace(known, surface_row=shared)
    if known.looks_down_deg is None and angles:
        made = replace(made, looks_down_deg=angles[len(angles) // 2])
    if known.drop_offset_m is None:
        made = replace(made, drop_offset_m=share_offset(measured, made))
    return made


def lacks(measured: Measured, known: Scene) -> bool:
    """Whether a picture shows less than is known about its series, or another surface."""
    if known.looks_down_deg is not None and measured.looks_down is None:
        return True
    if known.drop_offset_m is not None and measured.expected is not None:
        shared, error = (1e3 * one for one in known.drop_offset_m)
        own = find_offset(measured, known)
        if own is None or abs(own.value - shared) > _OFF_MOST * math.hypot(own.error, error):
            return True
    if known.surface_row is None:
        return False
    surface = measured.marks.get("surface")
    return surface is None or (
        not surface.by_hand and abs(surface.row / measured.height - known.surface_row[0]) > _CLOSE
    )


def share_surface(measured: Sequence[Measured]) -> tuple[float, float] | None:
    """Row of the surface over the height, and its error, from pictures that agree; None if they do not.

    A crown lends none: its wall is nearly the mirror image of itself. Nor does a picture that may show one.
    """
    rows = sorted(
        one.marks["surface"].row / one.height
        for one in measured
        if "surface" in one.marks and one.stage not in (None, "crown")
    )
    if len({(one.width, one.height) for one in measured}) != 1 or not rows:
        return None
    middle = rows[len(rows) // 2]
    close = [row for row in rows if abs(row - middle) < _CLOSE]
    if len(close) < 0.6 * len(rows):
        return None
    return sum(close) / len(close), 0.003


def share_offset(measured: Sequence[Measured], known: Scene) -> tuple[float, float] | None:
    """By how much the drops of a rig are seen higher than expected, in m, and its standard error; None if no picture
    says. Drops in the air say it best; without one, the umbrella whose age is known best does."""
    seen = [
        (value, one)
        for one in measured
        if one.expected is not None and (value := find_offset(one, known)) is not None
    ]
    drops = [value for value, one in seen if one.stage != "after"]
    used = drops or sorted((value for value, _ in seen), key=lambda one: one.error)[:1]
    if not used:
        return None
    # Before any picture the offset is 0, with the error that the shots of a rig share.
    prior_m = max(one.expected.rig_error_m for _, one in seen if one.expected is not None)
    weights = [1.0 / value.error**2 for value in used]
    # A rig file may say that its heights are exact.
    total = sum(weights) + 1e-6 / max(prior_m, 1e-6) ** 2
    mean = sum(weight * value.value for weight, value in zip(weights, used, strict=True)) / total
    return 1e-3 * mean, 1e-3 * math.hypot(1.0 / math.sqrt(total), _OFFSET_MM)


def find_offset(measured: Measured, known: Scene) -> Value | None:
    """By how much one picture shows its drop higher than expected, in mm; None if it does not say."""
    last = measured.expected
    if last is None:
        return None
    own = 1e3 * last.shot_error_m
    if measured.stage in ("before", "contact") and (seen := measured.drop_height) is not None:
        return Value(seen.value - 1e3 * last.height_m, math.hypot(seen.error, own))
    top, drop_m = measured.umbrella_height, known.drop_diameter_m
    if measured.stage != "after" or top is None or drop_m is None:
        return None
    age = find_age(replace(measured, expected=None), known)  # by its width alone
    if age is None:
        return None
    cap = find_cap(age.value, 1e3 * drop_m, last.speed_m_s)
    error = math.hypot(own, DOME_ERROR * 1e3 * drop_m, last.speed_m_s * age.error, top.error)
    return Value(top.value - cap - last.speed_m_s * age.value - 1e3 * last.height_m, error)


def date_series(measured: Sequence[tuple[Measured, float]], scene: Scene) -> list[Measured]:
    """Return the pictures with the time since contact that all of them together say.

    Each comes with the time of its light in ms, from a start that the pictures share. One umbrella alone tells its age
    badly once it hardly grows. In a series the light's times are known: the contact's time, how fast this rig's sheet
    spreads and for how long are fitted to all gaps and diameters at once, by least squares with the priors of
    `physics.umbrella`, and so is how far umbrellas stand above drop 2's expected place where the log says that.
    Pictures without a stage, a gap or a diameter keep what they have.
    """
    gaps = [
        (place, value)
        for place, (one, _) in enumerate(measured)
        if one.stage in ("before", "contact") and (value := one.since_contact_ms) is not None
    ]
    sheets = [
        (place, value)
        for place, (one, _) in enumerate(measured)
        if one.stage == "after" and (value := one.umbrella_diameter) is not None
    ]
    made = [one for one, _ in measured]
    used = [place for place, _ in (*gaps, *sheets)]
    if scene.drop_diameter_m is None or len(used) < 2:
        return made
    ages = _fit_ages(
        [measured[place][1] for place in used],
        [value for _, value in gaps],
        [value for _, value in sheets],
        [made[place] for place, _ in sheets],
        scene,
    )
    for place, age in zip(used, ages, strict=True):
        made[place] = replace(made[place], since_contact_ms=age)
    return made


def _fit_ages(
    lights_ms: Sequence[float],
    gaps: Sequence[Value],
    sheets: Sequence[Value],
    umbrellas: Sequence[Measured],
    scene: Scene,
) -> list[Value]:
    """Times since contact of pictures that show a gap, in ms, and then of those that show a sheet, in mm."""
    import numpy as np
    from scipy.optimize import least_squares

    drop_m = scene.drop_diameter_m
    assert drop_m is not None
    speed, speed_error = meeting_speed(scene)
    # Scatter of the logarithms of the sheet's speed and time and of the drop's diameter.
    spreads = np.array(
        [math.hypot(SPEED_SPREAD, speed_error), TIME_SPREAD, scene.drop_diameter_error]
    )
    lights, count = np.array(lights_ms), len(gaps)
    gap_ms = np.array([one.value for one in gaps])
    # All gaps share the error of the speed.
    gap_error = np.array(
        [math.sqrt(max(one.error**2 - (speed_error * one.value) ** 2, 0.02**2)) for one in gaps]
    )
    radius = np.array([0.5e-3 * one.value for one in sheets])
    edge_error = np.array([0.5e-3 * one.error for one in sheets])
    radius_error = np.hypot(edge_error, RADIUS_SHARE * radius)

    logged = [
        (place, one.umbrella_height, move_expected(one.expected, scene.drop_offset_m))
        for place, one in enumerate(umbrellas)
        if one.expected is not None and one.umbrella_height is not None
    ]
    places = [place for place, _, _ in logged]
    above = np.array([top.value - 1e3 * last.height_m for _, top, last in logged])
    falls = np.array([last.speed_m_s for _, _, last in logged])
    # The rig's error and the dome's are partly the same in all pictures.
    common_mm = [
        math.hypot(1e3 * last.rig_error_m, _SAME_DOME * DOME_ERROR * 1e3 * drop_m)
        for _, _, last in logged
    ]
    dome_mm = math.sqrt(1.0 - _SAME_DOME**2) * DOME_ERROR * 1e3 * drop_m
    # Each picture's own: of its dome, its mark and its drop.
    own_mm = np.array(
        [math.hypot(dome_mm, top.error, 1e3 * last.shot_error_m) for _, top, last in logged]
    )

    def find_ages(values: Any) -> Any:
        """The contact's time is the first value; each shot's shift from it stands at the end."""
        return lights - values[0] - _SCATTER_MS * values[5:]

    def residuals(values: Any) -> Any:
        by_speed, by_time, by_drop = np.exp(spreads * values[1:4])
        age = find_ages(values)
        before, after = age[:count], age[count:]
        spread = spread_out(
            1e-3 * np.maximum(after, 0.0), drop_m * by_drop, speed * by_speed, scene.liquid, time_factor=float(by_time)
        )  # fmt: skip
        since = np.maximum(after[places], 0.0)
        high = find_cap(since, 1e3 * drop_m * by_drop, falls) + falls * since
        return np.concatenate(
            [
                (above - high - values[4] * np.array(common_mm)) / own_mm,
                (before * by_speed - gap_ms) / gap_error,
                (spread - radius) / radius_error,
                np.minimum(after, 0.0),  # a sheet's age is not below 0
                values[1:],
            ]
        )

    starts = [
        *(lights[:count] - gap_ms),
        *(light - age for light in lights[count:] for age in (1.0, 3.0, 6.0)),
    ]
    fits = [
        least_squares(residuals, np.array([start, *np.zeros(4 + lights.size)])) for start in starts
    ]
    best = min(fits, key=lambda fit: float(fit.cost))
    covariance = np.linalg.pinv(best.jac.T @ best.jac)
    found = []
    for place, age in enumerate(find_ages(best.x)):
        by = np.zeros(best.x.size)
        by[0], by[5 + place] = 1.0, _SCATTER_MS
        found.append(Value(float(age), math.sqrt(float(by @ covariance @ by))))
    return found
