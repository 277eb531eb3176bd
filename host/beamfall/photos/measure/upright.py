"""Sizes of what stands on the surface: its stem, its widest place, whether it is a crown, what sits at its top."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from beamfall.photos.measure.shapes import OUTSIDE_PX, Standing, smooth_rows

UMBRELLA_RATIO = 1.72  # width of an umbrella over the stem's: more than a bulb's or a drop's
# A share of its width: how far below its top a ball is still four fifths as wide; a circle is 0.8.
_ROUND = 0.66
# Which part of a circle is compared, in diameters from its top: outlines begin late, and the neck hides its end.
_ROUND_FROM, _ROUND_TO = 0.12, 0.85
# How far down in its diameters a ball ends at least where another bulge follows; an umbrella's dome ends sooner.
_ROUND_LEAST = 0.6
# A crown is about as wide below as at its top, where a swell or a jet is narrow; an umbrella stands on a stem.
_CROWN_TOP, _FINGERED_TOP, _CROWN_WAIST = 0.93, 0.75, 0.68
# Outlines that leave a gap of this many pixels between two edges run into one: each lies OUTSIDE_PX off its edge, and
# what is left is closed up to four pixels.
_JOINED_PX = 8.5
# A notch this deep is no noise; edges that are closer than the second leave none.
_NOTCH_PX, _NO_NOTCH_PX = 2.0, 5.0
_TOUCH_PX = 1.5  # standard error of a gap in pixels, from the circle that fits the drop
#: Outlines of round drops on jets, over their diameter (simulated: 1.02 to 1.06).
SEEN_WIDER = 1.04


@dataclass(frozen=True)
class Upright:
    """Sizes of what stands: the stem's width (None: none is seen), the greatest width with its row and ends, the rim's
    height, the height of all that is at least half as wide, whether it is a crown."""

    stem: float | None
    widest: float
    row: float
    left: float
    right: float
    rim: float
    head: float
    is_crown: bool
    confidence: float


def measure_standing(standing: Standing, surface: float, scale: float) -> Upright | None:
    widths = standing.widths
    place = np.arange(standing.first, standing.first + widths.size)
    height = surface - standing.first
    seen = np.isfinite(widths)
    if height < 1.6 * scale or seen.sum() < 5 or seen.mean() < 0.35:
        return None
    if (wall := _find_wall(standing, surface, scale)) is not None:
        wide, narrow, least = wall
        flat, stout = wide / narrow - least, narrow / wide - _CROWN_WAIST
        if min(flat, stout) > 0.0 and wide > max(1.1 * height, 4.0 * scale):
            sure = min(0.97, 0.75 + 2.0 * min(flat, stout))
            return Upright(None, wide, surface, 0.0, 0.0, 0.0, 0.0, True, sure)
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
    head = seen & (widths > 0.5 * widest)
    # Only what hangs together with the widest place: the foot may be as wide.
    ends = np.flatnonzero(~head)
    above, below = ends[ends < top], ends[ends > top]
    tall = (below[0] if below.size else head.size) - (above[-1] if above.size else -1) - 1
    return Upright(
        stem, widest, float(place[near].mean()), float(standing.left[top]), float(standing.right[top]),
        float(near.sum()), float(tall), False, 0.9,
    )  # fmt: skip


def _find_wall(
    standing: Standing, surface: float, scale: float
) -> tuple[float, float, float] | None:
    """The width at the top of what stands, droplets and all, the least width below that, and the least ratio of the two
    that a crown has; None if it is too low."""
    high = surface - standing.first - np.arange(standing.inner.size)  # above the surface
    share = high / high[0]
    upper = (share > 0.6) & (share < 0.85)
    top = standing.widths[upper]
    lower = standing.body[(share <= 0.6) & (share > 0.12) & (high > 1.0 * scale)]
    top, lower = top[np.isfinite(top)], lower[np.isfinite(lower)]
    if top.size < 3 or lower.size < 3:
        return None
    wide, narrow = float(np.median(top)), max(1.0, float(np.percentile(lower, 10)))
    has_fingers = np.median(standing.inner[upper]) < 0.5 * wide
    return wide, narrow, _FINGERED_TOP if has_fingers else _CROWN_TOP


def measure_top(standing: Standing, surface: float, scale: float) -> tuple[float, float | None]:
    """Width of the ball at the top of what stands, and by what share of it a second bulge below the ball stands out.

    None if what stands is too short: its foot begins there.
    """
    widths = standing.whole
    width = 0.0
    for index, wide in enumerate(widths):
        if index > max(6.0, width):
            break
        width = max(width, float(wide))
    first, last = int(0.6 * width), int(2.2 * width)
    if standing.first + last > surface - 3.6 * scale or last >= widths.size:
        return width, None
    below = widths[first : last + 1]
    neck = int(below[: int(0.75 * width) + 1].argmin())
    rises, falls = below - below[neck], below - np.minimum.accumulate(below[::-1])[::-1]
    return width, float(np.minimum(rises, falls)[neck:].max()) / max(width, 1.0)


def spreads_below(standing: Standing, row: float, stem: float) -> bool:
    """Whether what stands is as wide as an umbrella somewhere below a row, and narrower again below that."""
    widths = smooth_rows(standing.widths)[max(0, round(row) - standing.first) :]
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
    if narrow > 0.75 * width or not 0.7 < middle / width < 1.45:
        return None
    # A ball is still wide below its middle, an umbrella's cap is not.
    if (below[grows:] < 0.8 * width).argmax() + grows < _ROUND * width:
        return None
    # The foot of a jet is wide too, and wider still below.
    if again.max() < max(1.2 * narrow, narrow + 2.0) or again[-1] > 0.97 * again.max():
        return None
    lowest = top + width
    return Ball(width, lowest, 2.0 * (standing.first + middle - lowest))


@dataclass(frozen=True)
class Touch:
    """A round drop that outlines join to what it meets: its width, its lowest row, and the gap below it with its
    standard error, in pixels (negative: it has entered the jet)."""

    width: float
    lowest: float
    gap: float
    error: float


def measure_touch(standing: Standing, least: float) -> Touch | None:
    """How far a round drop, at least so wide, is above what it seems to touch; None without a drop.

    Outlines that are closer than _JOINED_PX run into one, with a notch between them. The wider they are joined there,
    the closer they are: two circles part with the square of the way from their middle. The notch lies half way.
    """
    fit = measure_roundness(standing, least)
    if fit is None:
        return None
    drop, widths = float(fit[0]), standing.whole
    width = drop / SEEN_WIDER
    deep = OUTSIDE_PX + width  # rows from the first to the drop's lowest
    lowest = standing.first + deep
    grows = int(widths[: int(drop) + 1].argmax())
    below = widths[grows : int(deep + 0.5 * _JOINED_PX + _TOUCH_PX) + 1]
    if below.size < 4:
        return None
    narrow = float(below.min())
    neck = grows + int(below.argmin())
    again = float(widths[neck : neck + int(_JOINED_PX) + 1].max())
    if again - narrow < _NOTCH_PX:
        # Anything up to this.
        return Touch(width, lowest, 0.5 * _NO_NOTCH_PX, _NO_NOTCH_PX / math.sqrt(12.0))
    half = 0.5 * max(narrow + 2.0 * OUTSIDE_PX, 0.0)
    most = _JOINED_PX - half**2 * (1.0 / drop + 1.0 / again)
    middle = grows + float(np.flatnonzero(below <= narrow + 1.0).mean())
    return Touch(width, lowest, min(2.0 * (middle - deep), most), _TOUCH_PX)


def measure_roundness(standing: Standing, least: float) -> tuple[float, float] | None:
    """Diameter of the circle that fits best to the top of what stands, and how far the outline is off it, as a share
    of the diameter (rms); None without a first bulge.

    A drop on a jet is round down to its neck. A sheet has a cap, and a jet's own head narrows slowly.
    """
    widths = standing.whole
    grows, end = 0, math.inf
    for index in range(1, widths.size):
        if widths[index] >= widths[grows]:
            dip = grows + int(widths[grows : index + 1].argmin())
            is_lobe = widths[grows] > least and dip > _ROUND_LEAST * widths[grows]
            if is_lobe and widths[dip] <= widths[grows] - 1.0:
                end = dip - OUTSIDE_PX  # another bulge begins below the ball's middle
                break
            grows = index
        elif widths[index] < 0.85 * widths[grows]:
            break
    else:
        return None
    if widths[grows] < 4.0:
        return None
    best = (math.inf, 0.0)
    for share in np.linspace(0.9, 1.1, 9):
        diameter = share * float(widths[grows])
        for shift in np.linspace(-1.5, 1.5, 7):
            depth = np.arange(widths.size) - OUTSIDE_PX - shift
            used = (depth > _ROUND_FROM * diameter) & (depth < min(_ROUND_TO * diameter, end))
            if used.sum() < 4:
                continue
            circle = 2.0 * np.sqrt(depth[used] * (diameter - depth[used]))
            off = float(np.sqrt(np.mean((widths[used] - circle) ** 2))) / diameter
            best = min(best, (off, diameter))
    return None if best[1] == 0.0 else (best[1], best[0])
