"""What a tracer needs of optics and geometry, for many rays at once: arrays of shape (3, n) and (n,), lengths in mm."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from beamfall.arrays import AnyFloats as Floats
from beamfall.sim.liquid_shapes import LOWEST_MM, STEP_MM, Body


def ramp(value: Floats) -> Floats:
    """From 0 to 1, smooth at both ends."""
    value = np.clip(value, 0.0, 1.0)
    return (value * value * (3.0 - 2.0 * value)).astype(np.float32)


def window_max(values: Floats, span: int) -> Floats:
    """The largest of each value and the `span` after it."""
    from scipy.ndimage import maximum_filter1d

    size = span + 1
    made: Floats = maximum_filter1d(values, size, origin=-(size // 2), mode="nearest")
    return made


def meet_spheres(
    spheres: Floats, start: Floats, ahead: Floats,
    nearest: Floats, normal: Floats, owner: NDArray[np.int16],
) -> None:  # fmt: skip
    """Note the rays that a sphere stops first."""
    if not len(spheres) or not start.shape[1]:
        return
    mean = ahead.mean(axis=1)
    spread = float(np.abs(ahead - mean[:, None]).max()) * 150.0
    # Places across the rays' common direction: x, and the upward axis perpendicular to it.
    up = np.array([-mean[2], mean[1]], dtype=np.float32) / math.hypot(mean[1], mean[2])
    high = start[1] * up[0] + start[2] * up[1]
    own = spheres[:, 1] * up[0] + spheres[:, 2] * up[1]
    room = spheres[:, 3] * 1.1 + spread
    near = (spheres[:, 0] + room > start[0].min()) & (spheres[:, 0] - room < start[0].max())
    near &= (own + room > high.min()) & (own - room < high.max())
    for number in np.flatnonzero(near):
        close = np.flatnonzero(
            (np.abs(start[0] - spheres[number, 0]) < room[number])
            & (np.abs(high - own[number]) < room[number])
        )
        if close.size:
            _meet_sphere(int(number), spheres[number], close, start, ahead, nearest, normal, owner)


def _meet_sphere(
    number: int, sphere: Floats, close: NDArray[np.intp], start: Floats, ahead: Floats,
    nearest: Floats, normal: Floats, owner: NDArray[np.int16],
) -> None:  # fmt: skip
    middle, radius = sphere[:3, None], sphere[3]
    way = ahead[:, close]
    offset = start[:, close] - middle
    along = (offset * way).sum(axis=0)
    # The distance from the axis is taken directly: a difference of squares would lose digits in single precision.
    aside = offset - along * way
    room = radius * radius - (aside * aside).sum(axis=0)
    good = room > 0.0
    close, along, room = close[good], along[good], room[good]
    at = -along - np.sqrt(room)
    first = (at > 1e-3) & (at < nearest[close])
    kept = close[first]
    nearest[kept] = at[first]
    point = start[:, kept] + at[first] * ahead[:, kept]
    normal[:, kept] = (point - middle) / radius
    owner[kept] = 1000 + number


def look_up(grid: Floats, radius: Floats, height: Floats) -> Floats:
    """Bilinear interpolation on a body's grid; beyond it, the nearest value plus the way to it."""
    rows, columns = grid.shape
    j = radius * (1.0 / STEP_MM)
    i = (height - LOWEST_MM) * (1.0 / STEP_MM)
    over = np.maximum(j - (columns - 2), 0.0) + np.maximum(i - (rows - 2), 0.0)
    j = np.minimum(j, columns - 1.001)
    i = np.minimum(np.maximum(i, 0.0), rows - 1.001)
    j0, i0 = j.astype(np.intp), i.astype(np.intp)
    fj, fi = (j - j0).astype(np.float32), (i - i0).astype(np.float32)
    flat = grid.ravel()
    base = i0 * columns + j0
    low, lower_right, high, upper_right = (
        flat[first:].take(base) for first in (0, 1, columns, columns + 1)
    )
    low += (lower_right - low) * fj
    high += (upper_right - high) * fj
    made: Floats = (low + (high - low) * fi + over * STEP_MM).astype(np.float32)
    return made


def find_normal(body: Body, point: Floats) -> Floats:
    """The outward normal of a body at points."""
    x = point[0] - body.x
    radius = np.hypot(x, point[1])
    slope_r = look_up(body.slope_r, radius, point[2])
    slope_z = look_up(body.slope_z, radius, point[2])
    safe = np.maximum(radius, 1e-4)
    normal = np.stack([slope_r * x / safe, slope_r * point[1] / safe, slope_z])
    made: Floats = (normal / np.maximum(np.sqrt((normal**2).sum(axis=0)), 1e-6)).astype(np.float32)
    return made


def fresnel(cosine: Floats, ratio: float) -> Floats:
    """Share of unpolarised light that is reflected; `ratio` is the index in front over that behind."""
    sine2 = ratio * ratio * (1.0 - cosine * cosine)
    inner = np.sqrt(np.maximum(1.0 - sine2, 0.0))
    s = (ratio * cosine - inner) / np.maximum(ratio * cosine + inner, 1e-6)
    p = (ratio * inner - cosine) / np.maximum(ratio * inner + cosine, 1e-6)
    return np.where(sine2 >= 1.0, 1.0, 0.5 * (s * s + p * p)).astype(np.float32)


def refract(way: Floats, normal: Floats, cosine: Floats, ratio: float) -> Floats:
    """Snell's law; `normal` points against `way`. Totally reflected rays come back as they glance along."""
    inner = np.sqrt(np.maximum(1.0 - ratio * ratio * (1.0 - cosine * cosine), 0.0))
    bent = ratio * way + (ratio * cosine - inner) * normal
    made: Floats = (bent / np.maximum(np.sqrt((bent**2).sum(axis=0)), 1e-6)).astype(np.float32)
    return made
