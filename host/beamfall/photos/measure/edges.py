"""From a picture to the outlines of what is in the air: shrunk, turned upright, horizontal lines removed."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from beamfall.arrays import AnyFloats as Floats
from beamfall.photos.measure.rings import (
    BESIDE,
    REACH,
    Rings,
    find_rings,
    take_rings_away,
    weaken_rings,
)

SIZE_PX = 700  # of the longer side while measuring
_ROLL_MOST_DEG = 4.0
_PARTS = 24  # of a picture, that show the same tilt where it has lines


@dataclass(frozen=True)
class Outlines:
    """A picture made ready. `shrink`: pixels of the picture in one of these. `across` and `down`: how fast the light
    changes to the right and downwards; `strength` its size in units of noise; `solid`: what lies inside outlines."""

    light: Floats
    shrink: float
    roll_deg: float
    across: Floats
    down: Floats
    strength: Floats
    solid: NDArray[np.bool_]
    contrast: float  # of the strongest outlines, in units of noise
    rings: Rings | None = (
        None  # in upright pixels; None if the camera is low, or no rings are clear
    )

    def to_picture(self, column: float, row: float) -> tuple[float, float]:
        """Column and row in the picture as it came, from those in the upright one."""
        rows, columns = self.light.shape[:2]
        roll = math.radians(self.roll_deg)
        x, y = column + 0.5 - 0.5 * columns, row + 0.5 - 0.5 * rows
        back_x = x * math.cos(roll) + y * math.sin(roll)
        back_y = y * math.cos(roll) - x * math.sin(roll)
        return (back_x + 0.5 * columns) * self.shrink, (back_y + 0.5 * rows) * self.shrink

    def from_picture(self, column: float, row: float) -> tuple[float, float]:
        """The inverse of `to_picture`."""
        rows, columns = self.light.shape[:2]
        roll = math.radians(self.roll_deg)
        x, y = column / self.shrink - 0.5 * columns, row / self.shrink - 0.5 * rows
        there_x = x * math.cos(roll) - y * math.sin(roll)
        there_y = y * math.cos(roll) + x * math.sin(roll)
        return there_x + 0.5 * columns - 0.5, there_y + 0.5 * rows - 0.5


def find_outlines(
    picture: NDArray[np.uint8],
    background: NDArray[np.uint8] | None = None,
    looks_down_deg: float | None = None,
) -> Outlines:
    """Find the outlines in a picture of shape (rows, columns, 3).

    `background` is a picture of the same size without liquid in the air; what it shows is taken away.
    `looks_down_deg`: the camera's angle, where it is known.
    """
    light, shrink = _shrink(picture)
    calm = None if background is None else _shrink(background)[0]
    if calm is not None and calm.shape == light.shape:
        light = light - cv2.GaussianBlur(calm, (0, 0), 1.2) + calm.mean()
    rings = find_rings(light, looks_down_deg)
    soft = cv2.GaussianBlur(light, (0, 0), 1.2)
    roll = _find_roll(soft) if rings is None else rings.roll_deg
    if abs(roll) > 0.05:
        soft = _turn(soft, roll)
        light = _turn(light, roll)
    if rings is not None:
        rings = rings.turn_upright(light.shape)
        soft = take_rings_away(soft, rings)
    across = cv2.Scharr(soft, cv2.CV_32F, 1, 0) / 32.0
    down = cv2.Scharr(soft, cv2.CV_32F, 0, 1) / 32.0
    down = take_rows_away(down)
    if rings is not None:
        across, down = _weigh_colours(across, down, rings)
    size = np.sqrt((across**2 + down**2).sum(axis=2))
    noise = max(float(np.median(size)) / 1.2, 0.25)
    strength = size / noise
    along = None
    if rings is not None:
        strength, along = weaken_rings(strength, across, down, rings)
    contrast = float(np.percentile(strength, 99.7))
    solid = _fill(strength, contrast, along)
    if rings is not None:
        solid[:, np.abs(np.arange(solid.shape[1]) - rings.column) > REACH * len(solid)] = False
    return Outlines(light, shrink, roll, across, down, strength, solid, contrast, rings)


def take_rows_away(down: Floats) -> Floats:
    """Less what runs along whole rows, such as the horizon and the light's gradient: it is no outline.

    It is the same all along a row, or changes evenly from one side to the other where the light does. What is usual
    in the whole row may be an umbrella that fills most of it, so the sides count, unless a ring lies there.
    """
    columns = down.shape[1]
    side = max(8, columns // 4)
    left = np.median(down[:, :side], axis=1, keepdims=True)
    right = np.median(down[:, -side:], axis=1, keepdims=True)
    share = ((np.arange(columns) - 0.5 * side) / (columns - side))[None, :, None]
    even = left + (right - left) * share
    usual = np.median(down, axis=1, keepdims=True)
    is_ring = np.abs(left) + np.abs(right) > 4.0 * np.abs(usual)
    less: Floats = (down - np.where(is_ring, usual, even)).astype(np.float32)
    return less


def _weigh_colours(across: Floats, down: Floats, rings: Rings) -> tuple[Floats, Floats]:
    """Make the colours of the rings count little, so that a dyed liquid stands out from what they left."""
    rows, columns = across.shape[:2]
    beside = np.abs(np.arange(columns) - rings.column) > BESIDE * rows
    seen = np.concatenate([across[:, beside].reshape(-1, 3), down[:, beside].reshape(-1, 3)])
    if len(seen) < 1000:
        return across, down
    scatter = seen.T @ seen / len(seen) + 0.05 * np.eye(3)
    values, ways = np.linalg.eigh(scatter)
    weights = (ways * np.sqrt(values[-1] / values).clip(1.0, 8.0)) @ ways.T
    weights = weights.astype(np.float32)
    return across @ weights, down @ weights


def _shrink(picture: NDArray[np.uint8]) -> tuple[Floats, float]:
    rows, columns = picture.shape[:2]
    shrink = max(1.0, max(rows, columns) / SIZE_PX)
    if shrink == 1.0:
        return picture.astype(np.float32), 1.0
    size = (round(columns / shrink), round(rows / shrink))
    small = cv2.resize(picture, size, interpolation=cv2.INTER_AREA)
    return small.astype(np.float32), columns / size[0]


def _turn(image: Floats, degrees: float) -> Floats:
    """Turn clockwise, about the middle."""
    rows, columns = image.shape[:2]
    middle = (0.5 * columns - 0.5, 0.5 * rows - 0.5)
    matrix = cv2.getRotationMatrix2D(middle, -degrees, 1.0)
    turned: Floats = cv2.warpAffine(
        image, matrix, (columns, rows), flags=cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE
    )
    return turned


def _find_roll(soft: Floats) -> float:
    """Tilt of the horizon, counterclockwise: where lines across, beside the middle, and upright lines line up best."""
    grey = soft.mean(axis=2)
    rows, columns = grey.shape
    down = cv2.Scharr(grey, cv2.CV_32F, 0, 1)
    across = cv2.Scharr(grey, cv2.CV_32F, 1, 0)
    across -= cv2.blur(across, (max(9, rows // 25), 1))
    side = np.abs(np.arange(columns) + 0.5 - 0.5 * columns) > 0.16 * columns
    steps = np.arange(-_ROLL_MOST_DEG, _ROLL_MOST_DEG + 0.01, 0.1)
    both = np.zeros(steps.size)
    for coherence in (
        _line_up(down, np.flatnonzero(side), steps), _line_up(across.T, np.arange(rows), -steps)
    ):  # fmt: skip
        # Lines that do not line up at any tilt say nothing, and noise alone reaches about one part's share.
        best = max(float(coherence.max()), 1e-9)
        both += max(best - 2.0 / _PARTS, 0.0) ** 2 * np.log(np.maximum(coherence / best, 1e-9))
    peak = find_peak(both)
    return 0.0 if peak is None else float(steps[peak])


def find_peak(values: Floats) -> int | None:
    """Return the place of the highest peak inside; None if there is none.

    Ripples may line up better and better towards the largest tilts, and that end is no horizon.
    """
    peaks = np.flatnonzero((values[1:-1] >= values[:-2]) & (values[1:-1] >= values[2:])) + 1
    return int(peaks[values[peaks].argmax()]) if peaks.size else None


def _line_up(change: Floats, used: NDArray[Any], steps: Floats) -> Floats:
    """How well rows of `change` line up at each tilt, from 0 to 1; `used`: the columns that count."""
    rows, columns = change.shape
    change = np.clip(change, *np.percentile(change, (1.0, 99.0)))
    grid = np.arange(rows, dtype=np.float32)
    parts = np.array_split(used, _PARTS)
    places = [float(part.mean()) + 0.5 - 0.5 * columns for part in parts]
    # Smoothed, since noise between rows would favour the tilt of 0, which needs no interpolation.
    bell = np.array([1.0, 3.0, 4.0, 3.0, 1.0]) / 12.0
    profiles = [np.convolve(change[:, part].mean(axis=1), bell, "same") for part in parts]
    edge = rows // 12  # turned in from outside the picture
    sharp = np.zeros(steps.size)
    for number, step in enumerate(steps):
        slope = math.tan(math.radians(step))
        total = np.zeros(rows)
        for place, profile in zip(places, profiles, strict=True):
            total += np.interp(grid - slope * place, grid, profile)
        sharp[number] = (total[edge:-edge] ** 2).sum()
    alone = sum(float((profile[edge:-edge] ** 2).sum()) for profile in profiles)
    coherence: Floats = sharp / max(_PARTS * alone, 1e-9)
    return coherence


def _fill(strength: Floats, contrast: float, along: Floats | None) -> NDArray[np.bool_]:
    """What strong outlines enclose. `along`: by what share each edge counts less, since it lies along a ring; beside
    clear edges it counts in full, since it may be the flat part of the same outline."""
    level = max(5.0, 0.16 * contrast)
    edge: Any = (strength > level).astype(np.uint8)
    if along is not None:
        near = cv2.dilate(edge, cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (13, 13)))
        edge |= ((strength / (1.0 - along) > level) & (near > 0)).astype(np.uint8)
    kernel = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (5, 5))
    edge = cv2.morphologyEx(edge, cv2.MORPH_CLOSE, kernel)
    contours, _ = cv2.findContours(edge, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    solid: Any = np.zeros(edge.shape, dtype=np.uint8)
    cv2.drawContours(solid, contours, -1, 1, cv2.FILLED)
    solid = cv2.morphologyEx(solid, cv2.MORPH_OPEN, np.ones((2, 2), np.uint8))
    filled: NDArray[np.bool_] = solid.astype(bool)
    return filled
