"""Sizes of what stands on the surface: its stem, its widest place, whether it is a crown, what sits at its top."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from beamfall.photos.measure.shapes import OUTSIDE_PX, Standing

UMBRELLA_RATIO = 1.72  # width of an umbrella over the stem's: more than a bulb's or a drop's


@dataclass(frozen=True)
class Upright:
    """Sizes of what stands: the stem's width (None: none is seen), the greatest width with its row and ends, the rim's
    height, whether it is a crown."""

    stem: float | None
    widest: float
    row: float
    left: float
    right: float
    rim: float
    is_crown: bool
    confidence: float


def measure_standing(standing: Standing, surface: float, scale: float) -> Upright | None:
    widths = standing.widths
    place = np.arange(standing.first, standing.first + widths.size)
    height = surface - standing.first
    seen = np.isfinite(widths)
    if height < 1.6 * scale or seen.sum() < 5 or seen.mean() < 0.35:
        return None
    share = (surface - place) / height
    body = seen & (share > 0.25) & (share < 0.8)
    typical = float(np.median(widths[body])) if body.sum() >= 3 else float(np.median(widths[seen]))
    low = seen & (surface - place < 4.0 * scale) & (surface - place > 1.0 * scale)
    if typical > 1.1 * height and typical > 4.0 * scale and height < 22.0 * scale:
        inside = min(0.97, 0.6 + 0.3 * (typical / height - 1.1))
        if low.any() and np.median(widths[low]) < 0.5 * typical:
            return None
        widest = float(np.max(widths[seen]))
        return Upright(None, widest, surface, 0.0, 0.0, 0.0, True, inside)
    upper = seen & (surface - place > 0.45 * height)
    if not upper.any():
        return None
    # The stem: what is narrowest for a while, above the foot.
    stem_zone = (
        seen
        & (surface - place > min(5.0 * scale, 0.3 * height))
        & (place > standing.tip + 2.0 * scale)
    )
    stem = float(np.percentile(widths[stem_zone], 15)) if stem_zone.sum() >= 4 else None
    top = int(np.nanargmax(np.where(upper, widths, -1.0)))
    widest = float(widths[top])
    near = seen & (widths > 0.8 * widest) & (np.abs(place - place[top]) < 4.0 * scale)
    return Upright(
        stem, widest, float(place[near].mean()), float(standing.left[top]), float(standing.right[top]),
        float(near.sum()), False, 0.9,
    )  # fmt: skip


def measure_top(standing: Standing, surface: float, scale: float) -> tuple[float, float | None]:
    """Width of the ball at the top of what stands, and the greatest width right below it over that.

    None if what stands is too short: its foot begins there.
    """
    widths = standing.whole
    width = 0.0
    for index, wide in enumerate(widths):
        if index > max(6.0, width):
            break
        width = max(width, float(wide))
    first, last = int(1.15 * width), int(1.85 * width)
    if standing.first + last > surface - 3.6 * scale or last >= widths.size:
        return width, None
    return width, float(widths[first : last + 1].max()) / max(width, 1.0)


def spreads_below(standing: Standing, row: float, stem: float) -> bool:
    """Whether what stands is as wide as an umbrella somewhere below a row, and narrower again below that."""
    widths = standing.widths[max(0, round(row) - standing.first) :]
    widths = widths[np.isfinite(widths)]
    if not widths.size:
        return False
    least_below = np.minimum.accumulate(widths[::-1])[::-1]
    return bool(((widths > UMBRELLA_RATIO * stem) & (least_below < 0.75 * widths)).any())


@dataclass(frozen=True)
class Ball:
    """A drop that outlines join to what it touches: its width, its lowest row, and the gap below it (negative: it
    has entered the jet)."""

    width: float
    lowest: float
    gap: float


def find_ball(standing: Standing, surface: float, scale: float) -> Ball | None:
    """A drop at the top of what stands: a round lobe, a neck, and right below it a second lobe."""
    widths = standing.whole
    grows = 0
    for index in range(1, min(widths.size, int(9.0 * scale))):
        if widths[index] >= widths[grows]:
            grows = index
        elif widths[index] < 0.8 * widths[grows]:
            break
    width = float(widths[grows])
    if not 1.8 * scale < width < 8.5 * scale or surface - standing.first < 2.2 * width:
        return None
    below = widths[: int(1.7 * width) + 1]
    if below.size <= grows + 2:
        return None
    neck = grows + int(below[grows:].argmin())
    narrow = widths[neck]
    middle = float(np.flatnonzero(below[grows:] <= narrow + 1.0).mean()) + grows
    again = widths[neck : neck + int(0.65 * width)]
    top = standing.first + OUTSIDE_PX
    if (
        narrow > 0.75 * width
        or not 0.7 < middle / width < 1.45
        or again.max() < max(1.2 * narrow, narrow + 2.0)
    ):
        return None
    lowest = top + width
    return Ball(width, lowest, 2.0 * (standing.first + middle - lowest))
