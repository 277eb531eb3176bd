"""Rings on the surface, as a camera sees them from above: where their middle is, and how steeply it looks down.

Rings are circles about the foot of the splash. Seen from above they are ellipses; from nearby their far halves are
smaller. Every edge of a ring is square to the way to the middle, as measured on the surface. Lengths in pixels.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Any

import cv2
import numpy as np

from beamfall.arrays import AnyFloats as Floats

BESIDE = 0.16  # of the picture's height: what stands seldom reaches this far to the side
REACH = 0.32  # and never this far
_LEAST_DEG = 9.0  # below this the rings are nearly lines along the rows
_MOST_DEG = 45.0
# Error of the angle that rings show: simulated ones look up to 3.5° flatter than they are.
_ERROR_DEG = 3.0
_ROW_ERROR = 0.007  # of the middle's row, in shares of the picture's height
_LEAST_FIT = 0.55  # rings that the eye sees reach 0.75
_LEAST_TWELFTHS = 9  # of a circle, in which rings are seen; the lamp's glow shows in fewer
_MOST_UNEVEN = 0.2  # edges to the light less those to the dark, over all; the glow has one kind
_AXIS = 0.04  # of the height: edges this close to the axis are mostly of what stands there
_EDGES = 5000
_TRIED_DEG = (9.0, 12.0, 16.0, 20.0, 25.0, 31.0, 38.0)
_HIGHEST = 0.42  # of the height: the foot of a splash is seldom higher in the picture
_MOST_ROLL = 0.09
_MOST_NEARNESS = 1.6  # per picture height
_SECTOR = 80  # degrees of a ring that are compared
_STEPS = 180  # around a ring
_RADII = 60
_ALONG = 0.6  # by which an edge along a ring counts less
_QUIET = 4.0  # strength in units of noise that counts as no outline


@dataclass(frozen=True)
class Rings:
    """Middle of the rings, angle by which the camera looks down with its standard error, tilt of the picture
    (counterclockwise), and `nearness`: by what share a length shrinks for each pixel further up; `fit`: 0 to 1."""

    column: float
    row: float
    row_error: float
    down_deg: float
    down_error_deg: float
    roll_deg: float
    nearness: float
    fit: float

    def to_ground(self, columns: Floats, rows: Floats) -> tuple[Floats, Floats]:
        """Right and away from the middle, on the surface, of places in the picture."""
        u, v, shrunk = _lean(
            columns, rows, self.column, self.row, math.radians(self.roll_deg), self.nearness
        )
        return u / shrunk, v / (shrunk * math.sin(math.radians(self.down_deg)))

    def to_picture(self, right: Floats, away: Floats) -> tuple[Floats, Floats]:
        """The inverse of `to_ground`."""
        flat = away * math.sin(math.radians(self.down_deg))
        v = flat / np.maximum(1.0 + self.nearness * flat, 0.2)
        u = right * (1.0 - self.nearness * v)
        roll = math.radians(self.roll_deg)
        return (
            self.column + u * math.cos(roll) - v * math.sin(roll),
            self.row - u * math.sin(roll) - v * math.cos(roll),
        )

    def turn_upright(self, shape: tuple[int, ...]) -> Rings:
        """The same rings in the picture turned upright about its middle."""
        rows, columns = shape[:2]
        roll = math.radians(self.roll_deg)
        x, y = self.column + 0.5 - 0.5 * columns, self.row + 0.5 - 0.5 * rows
        return replace(
            self,
            column=x * math.cos(roll) - y * math.sin(roll) + 0.5 * columns - 0.5,
            row=y * math.cos(roll) + x * math.sin(roll) + 0.5 * rows - 0.5,
            roll_deg=0.0,
        )


def _lean(
    columns: Floats, rows: Floats, column: float, row: float, roll: float, nearness: float
) -> tuple[Floats, Floats, Floats]:
    """Right and up from the middle in the upright picture, and how much smaller lengths are there."""
    x, y = columns - column, row - rows
    u = x * math.cos(roll) + y * math.sin(roll)
    v = y * math.cos(roll) - x * math.sin(roll)
    return u, v, np.maximum(1.0 - nearness * v, 0.2)


def find_rings(light: Floats, down_deg: float | None = None) -> Rings | None:
    """Find the rings in a picture of shape (rows, columns, 3); None if no rings are clear.

    `down_deg`: by what angle the camera looks down, where it is known.
    """
    if down_deg is not None and down_deg < _LEAST_DEG:
        return None
    edges = _list_edges(light)
    rows, columns = light.shape[:2]
    if edges is None:
        return None
    least = 0.12 * len(edges[0])  # fewer edges beside the axis prove nothing

    def fit(values: list[float], every: int = 1) -> float:
        """Mean likeness of the edges' directions and the rings', by the fourth power of the cosine."""
        x, y, right, up = (one[::every] for one in edges)
        column, row, log_flat, roll, nearness = values
        u, v, shrunk = _lean(x, y, column, row, roll, nearness)
        a, b = u / shrunk**2, (u * u * nearness + v / math.exp(2.0 * log_flat)) / shrunk**3
        along, over = (
            a * math.cos(roll) - b * math.sin(roll),
            a * math.sin(roll) + b * math.cos(roll),
        )
        likeness = (right * along + up * over) ** 2 / (along**2 + over**2 + 1e-9)
        used = np.abs(u) > _AXIS * rows
        return float((used * likeness**2).sum() / max(float(used.sum()), least / every))

    angles = _TRIED_DEG if down_deg is None else (down_deg,)
    starts = [
        [column, row, math.log(math.sin(math.radians(angle))), 0.0, 0.0]
        for angle in angles
        for row in (np.linspace(0.45, 0.95, 16) * rows).tolist()
        for column in (np.linspace(0.3, 0.7, 7) * columns).tolist()
    ]
    starts.sort(key=lambda values: -fit(values, 4))
    found = [_climb(fit, start, (rows, columns), down_deg is not None) for start in starts[:4]]
    best, values = max(found, key=lambda one: one[0])
    column, row, log_flat, roll, nearness = values
    angle = down_deg or math.degrees(math.asin(math.exp(log_flat)))
    if best < _LEAST_FIT or not _LEAST_DEG < angle < _MOST_DEG or row < (_HIGHEST + 0.01) * rows:
        return None
    if not _go_round(edges, values, rows):
        return None
    return Rings(
        column, row, _ROW_ERROR * rows, angle,
        _ERROR_DEG if down_deg is None else 0.5, math.degrees(roll), nearness, best,
    )  # fmt: skip


def _list_edges(light: Floats) -> tuple[Floats, Floats, Floats, Floats] | None:
    """Columns and rows of clear edges, faint and strong ones alike, and their directions right and up."""
    # The light's slow changes are no rings, and fine noise is none.
    soft: Floats = cv2.GaussianBlur(light, (0, 0), 2.6)
    soft = soft - cv2.GaussianBlur(soft, (0, 0), 0.03 * len(light))
    across = (cv2.Scharr(soft, cv2.CV_32F, 1, 0) / 32.0).sum(axis=2)
    down = (cv2.Scharr(soft, cv2.CV_32F, 0, 1) / 32.0).sum(axis=2)
    down -= np.median(down, axis=1, keepdims=True)
    size = np.hypot(across, down)
    near = cv2.GaussianBlur(size, (0, 0), 0.03 * len(size))
    clear = (size > near) & (size > 1.3 * np.median(size)) & (size > 0.05)
    clear[:4] = clear[-4:] = False
    clear[:, :4] = clear[:, -4:] = False
    places = np.flatnonzero(clear)
    if places.size < 300:
        return None
    places = places[:: max(1, places.size // _EDGES)]
    y, x = np.divmod(places, size.shape[1])
    sizes = size.ravel()[places]
    return (
        x.astype(np.float32), y.astype(np.float32),
        across.ravel()[places] / sizes, -down.ravel()[places] / sizes,
    )  # fmt: skip


def _climb(
    fit: Any, start: list[float], shape: tuple[int, int], is_known: bool
) -> tuple[float, list[float]]:
    """Walk uphill, one value at a time, with shrinking steps."""
    rows, columns = shape
    best, values = fit(start), list(start)
    steps = [0.05 * columns, 0.02 * rows, 0.0 if is_known else 0.15, 0.03, 0.25 / rows]
    steepest = max(start[2], math.log(math.sin(math.radians(_MOST_DEG))))
    for _ in range(8):
        for place, step in enumerate(steps):
            for move in (-step, step):
                tried = list(values)
                tried[place] += move
                if abs(tried[3]) > _MOST_ROLL or not 0.0 <= tried[4] * rows < _MOST_NEARNESS:
                    continue
                if tried[2] > steepest or not _HIGHEST * rows < tried[1] < rows:
                    continue
                if (now := fit(tried)) > best:
                    best, values = now, tried
        steps = [0.66 * step for step in steps]
    return best, values


def _go_round(edges: tuple[Floats, Floats, Floats, Floats], values: list[float], rows: int) -> bool:
    """Whether the edges along rings go round their middle, and are light and dark by turns."""
    x, y, right, up = edges
    column, row, log_flat, roll, nearness = values
    u, v, _ = _lean(x, y, column, row, roll, nearness)
    v = v / math.exp(log_flat)
    out = v / math.exp(log_flat)
    light = (right * u + up * out) / (np.hypot(u, out) + 1e-9)
    along = (np.abs(light) > 0.8) & (np.abs(u) > _AXIS * rows)
    twelfths = np.histogram(np.arctan2(v, u)[along], bins=12, range=(-math.pi, math.pi))[0]
    seen = (twelfths > 0.02 * twelfths.sum()).sum()
    return bool(seen >= _LEAST_TWELFTHS and abs(np.sign(light[along]).mean()) < _MOST_UNEVEN)


def take_rings_away(light: Floats, rings: Rings) -> Floats:
    """The picture without what a wide sector of each ring has in common: what stands in front of the rings remains."""
    rows, columns = light.shape[:2]
    y, x = np.mgrid[0:rows, 0:columns].astype(np.float32)
    right, away = rings.to_ground(x, y)
    far = np.hypot(right, away).astype(np.float32)
    steps = 400
    reach = min(float(far.max()), 2.0 * max(rows, columns))
    # Radii in steps that grow outwards: rings in the distance are seen small.
    place = (steps - 1) * np.sqrt(np.minimum(far / reach, 1.0))
    radius = (reach * (np.arange(steps) / (steps - 1)) ** 2)[:, None]
    angle = (np.arange(_STEPS) * 2.0 * math.pi / _STEPS - math.pi)[None, :]
    u, v = rings.to_picture(radius * np.cos(angle), radius * np.sin(angle))
    u, v = u.astype(np.float32), v.astype(np.float32)
    ring = cv2.remap(light, u, v, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    half = round(_SECTOR * _STEPS / 720)
    turned = np.stack([np.roll(ring, shift, axis=1) for shift in range(-half, half + 1, 2)])
    common = np.median(turned, axis=0)
    common = np.concatenate([common, common[:, :1]], axis=1).astype(np.float32)
    turn = (np.arctan2(away, right) + math.pi) * _STEPS / (2.0 * math.pi)
    less: Floats = light - cv2.remap(
        common, turn.astype(np.float32), place.astype(np.float32), cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE
    )  # fmt: skip
    return less


def weaken_rings(
    strength: Floats, across: Floats, down: Floats, rings: Rings
) -> tuple[Floats, Floats]:
    """The strength of edges less what rings left: all that is as usual at its radius, and what lies along a ring.

    The second is the share by which an edge counts less since it lies along a ring.
    """
    rows, columns = strength.shape
    y, x = np.mgrid[0:rows, 0:columns].astype(np.float32)
    right, away = rings.to_ground(x, y)
    place = np.hypot(right, away) / (2.0 * max(rows, columns))
    place = (_RADII * np.sqrt(np.minimum(place, 1.0))).astype(int)
    beside = np.abs(x - rings.column) > BESIDE * rows
    level = np.ones(_RADII + 1, dtype=np.float32)
    for one in range(_RADII + 1):
        seen = strength[beside & (place == one)]
        if seen.size > 20:
            level[one] = max(1.0, float(np.percentile(seen, 90)) / _QUIET)
    first = int(np.argmax(level > 1.0))
    level[:first] = level[first]
    # The direction of a ring's edge, as in `find_rings`.
    flat = math.sin(math.radians(rings.down_deg))
    u, v, shrunk = _lean(x, y, rings.column, rings.row, 0.0, rings.nearness)
    to_right = u / shrunk**2
    to_below = -(u * u * rings.nearness + v / flat**2) / shrunk**3
    along = ((across * to_right[:, :, None] + down * to_below[:, :, None]) ** 2).sum(axis=2)
    size = (across**2 + down**2).sum(axis=2) * (to_right**2 + to_below**2)
    likeness = along / np.maximum(size, 1e-9)
    less: Floats = (_ALONG * likeness**2).astype(np.float32)
    return strength * (1.0 - less) / level[place], less
