"""What stands on the surface and what falls above it, from the outlines of an upright picture. All in its pixels."""

from __future__ import annotations

import warnings
from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
from numpy.lib.stride_tricks import sliding_window_view
from numpy.typing import NDArray

from beamfall.arrays import AnyFloats as Floats
from beamfall.photos.measure.edges import Outlines

# A share of the picture's height.
_CALM = 0.012
# A jet's foot may be too faint to have outlines; what is this high above it is no drop that falls.
_FAINT_FOOT_MM, _NO_DROP_MM = 5.0, 9.0
_FAINT_SHEET_MM = 1.0  # and an umbrella's sheet too clear, between its flat cap and its rim
# Outlines are found this far outside the edge of what they enclose, in pixels.
OUTSIDE_PX = 2.1
_ROUND_OUTSIDE_PX = 2.7  # of a drop, whose outline is curved: simulated ones 17 to 35 pixels wide


@dataclass(frozen=True)
class Blob:
    """Something that hangs in the air: middle, width and height, its lowest row, whether the frame cuts it.

    `across` is its width to a fraction of a pixel, if it is round.
    """

    column: float
    row: float
    width: float
    height: float
    across: float
    lowest: float
    is_cut: bool
    is_round: bool


@dataclass(frozen=True)
class Standing:
    """What stands on the surface: the highest row at its axis, and its ends at every row from `first` down.

    `left` and `right` are of upright edges, so that ripples do not count; NaN if there are none. `whole` is the
    width of everything that outlines enclose, `inner` of what they enclose around the axis without a gap.
    """

    axis: float
    tip: float
    first: int
    left: Floats
    right: Floats
    whole: Floats
    inner: Floats

    @property
    def widths(self) -> Floats:
        widths: Floats = self.right - self.left
        return widths

    @property
    def body(self) -> Floats:
        """Widths without droplets that hang beside what stands and without ripples, smoothed."""
        return smooth_rows(
            np.where(self.inner > 0.0, np.fmin(self.inner, self.widths), self.widths)
        )


def smooth_rows(widths: Floats) -> Floats:
    """The median of five rows, so that a gap of a row or two in an outline does not count; NaN where there is none."""
    padded = np.pad(widths, 2, constant_values=np.nan)
    with warnings.catch_warnings(action="ignore", category=RuntimeWarning):  # five rows of nothing
        smooth: Floats = np.nanmedian(sliding_window_view(padded, 5), axis=1)
    return smooth


def list_blobs(outlines: Outlines) -> tuple[list[Blob], NDArray[Any]]:
    """Everything that outlines enclose, largest first, and the labels of their pixels in that order from 1."""
    count, labels, stats, middles = cv2.connectedComponentsWithStats(
        outlines.solid.astype(np.uint8), connectivity=8
    )
    order = np.argsort(-stats[1:, cv2.CC_STAT_AREA]) + 1
    rows, columns = outlines.solid.shape
    new = np.zeros(count, dtype=np.int32)
    blobs = []
    for number, old in enumerate(order, 1):
        new[old] = number
        left, top, width, height, area = (int(one) for one in stats[old])
        is_cut = top <= 1 or left <= 1 or left + width >= columns - 1 or top + height >= rows - 1
        is_round = 0.75 < width / height < 1.35 and area > 0.66 * width * height
        wide = width - 2.0 * OUTSIDE_PX
        across = wide
        if is_round:  # an ellipse is four standard deviations of its pixels wide
            inside = labels[top : top + height, left : left + width] == old
            across = 4.0 * float(np.nonzero(inside)[1].std()) - 2.0 * _ROUND_OUTSIDE_PX
        blobs.append(
            Blob(
                float(middles[old][0]),
                top + 0.5 * height,
                wide,
                height - 2.0 * OUTSIDE_PX,
                across,
                top + height - 1.0 - OUTSIDE_PX,
                is_cut,
                is_round,
            )
        )
    return blobs, new[labels]


def find_axis(outlines: Outlines, labels: NDArray[Any]) -> tuple[float, int] | None:
    """Column of the middle of the largest thing, and its highest row; None in an empty picture."""
    part = labels == 1
    rows = np.flatnonzero(part.any(axis=1))
    if not rows.size:
        return None
    left = part[rows].argmax(axis=1)
    right = part.shape[1] - 1 - part[rows, ::-1].argmax(axis=1)
    narrow = (right - left) < 0.2 * part.shape[1]
    middles = 0.5 * (left + right)
    return float(np.median(middles[narrow] if narrow.sum() > 8 else middles)), int(rows[0])


def find_standing(outlines: Outlines, axis: float, surface: float, scale: float) -> Standing | None:
    """What stands on the surface around a column, at so many pixels in a mm; None if nothing does."""
    rows, columns = outlines.solid.shape
    foot = int(surface - _CALM * rows)
    upper = outlines.solid[:foot].astype(np.uint8)
    _, labels, stats, _ = cv2.connectedComponentsWithStats(upper, connectivity=8)
    near = slice(max(0, int(axis - 0.03 * rows)), int(axis + 0.03 * rows) + 2)
    wide = slice(max(0, int(axis - 0.25 * rows)), int(axis + 0.25 * rows) + 2)
    feet = {int(one) for one in np.unique(labels[foot - 3 :, wide]) if one}
    for one in np.unique(labels[:, near]):
        above = foot - stats[one, cv2.CC_STAT_TOP] - stats[one, cv2.CC_STAT_HEIGHT]
        is_tall = stats[one, cv2.CC_STAT_HEIGHT] > _NO_DROP_MM * scale
        if one and is_tall and above < _FAINT_FOOT_MM * scale:
            feet.add(int(one))
    if feet:
        highest = min(stats[one, cv2.CC_STAT_TOP] for one in feet)
        for one in np.unique(labels[: highest + 1, near]):
            above = highest - stats[one, cv2.CC_STAT_TOP] - stats[one, cv2.CC_STAT_HEIGHT]
            is_flat = stats[one, cv2.CC_STAT_WIDTH] > 2.0 * stats[one, cv2.CC_STAT_HEIGHT]
            if one and is_flat and above < _FAINT_SHEET_MM * scale:
                feet.add(int(one))
    if not feet:
        return None
    part = np.isin(labels, sorted(feet))
    # Ripples are wide and low; what stands has upright edges.
    upright = (
        np.abs(outlines.across).max(axis=2)[:foot] > 0.6 * np.abs(outlines.down).max(axis=2)[:foot]
    )
    upright &= part & (outlines.strength[:foot] > max(5.0, 0.16 * outlines.contrast))
    middle = part[:, near].any(axis=1)
    tops = np.flatnonzero(middle)
    body = np.flatnonzero(part.any(axis=1))
    if not tops.size:
        return None
    first = int(body[0])
    tip = float(tops[0]) + OUTSIDE_PX
    left = np.full(foot - first, np.nan)
    right = left.copy()
    for row in range(first, foot):
        places = np.flatnonzero(upright[row])
        if places.size >= 2:
            left[row - first], right[row - first] = places[0] + 1.0, places[-1] - 1.0
    whole = part[first:].sum(axis=1) - 2.0 * OUTSIDE_PX
    return Standing(axis, tip, first, left, right, whole, _find_inner(part[first:], round(axis)))


def _find_inner(part: NDArray[np.bool_], axis: int) -> Floats:
    """Width of what lies around a column without a gap, in each row."""
    outside = np.pad(~part, ((0, 0), (1, 1)), constant_values=True)
    right = outside[:, axis + 1 :].argmax(axis=1)
    left = outside[:, axis + 1 :: -1].argmax(axis=1)
    inner: Floats = np.maximum(left + right - 1.0 - 2.0 * OUTSIDE_PX, 0.0)
    return inner
