"""Where the surface of the liquid is: the row about which what is in the air and its reflection are mirror images."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from beamfall.photos.measure.edges import Outlines
from beamfall.photos.measure.shapes import Blob

_LEAST_BELOW = 0.035  # of the height: a reflection shorter than this proves nothing
_WINDOW = 0.11  # of the height: half the width looked at
_MOST_BELOW = 1.3  # a reflection reaches no further down than what it reflects reaches up
_UNSEEN = 0.15  # how much less a reflection proves that the frame cuts, by what stands over what is seen of it
# Share of the height: what is smaller may have a reflection too faint to see, what is larger is no drop.
_LEAST_DROP, _MOST_DROP = 0.015, 0.13
_LEAST_MIRRORED = 0.1  # of a drop's outlines, the share that its reflection shows at least


@dataclass(frozen=True)
class Surface:
    """Row in the upright picture and its standard error; `likeness`: of the two halves, -1 to 1.

    `is_odd`: a drop lacks its reflection.
    """

    row: float
    error: float
    likeness: float
    rival: float  # likeness at the best row elsewhere
    is_odd: bool

    @property
    def is_sure(self) -> bool:
        ahead = self.likeness - self.rival
        return not self.is_odd and (
            ahead > 0.1 and self.likeness > 0.13 or ahead > 0.07 and self.likeness > 0.21
        )


def find_surface(
    outlines: Outlines, axis: float, top: int, blobs: Sequence[Blob]
) -> Surface | None:
    """Find the surface under something that stands in it, around the column `axis`, its highest row `top`.

    `blobs`: everything that is seen, the largest first. None if nothing is mirrored.
    """
    rows, columns = outlines.solid.shape
    half = round(_WINDOW * rows)
    left, right = max(0, round(axis) - half), min(columns, round(axis) + half + 1)
    across = outlines.across[:, left:right]
    down = outlines.down[:, left:right]
    least = max(8, round(_LEAST_BELOW * rows))
    first = max(top + least // 2, round(0.35 * rows))
    found = np.full(rows, -1.0)
    widths = outlines.solid[:, left:right].sum(axis=1)
    # Strong outlines and faint reflections count alike: what matters is where they are.
    scale = np.sqrt((across**2 + down**2).mean()) + 1e-6
    across, down = np.tanh(across / (2.0 * scale)), np.tanh(down / (2.0 * scale))
    # A ball is the mirror image of itself.
    balls = [
        blob
        for blob in blobs
        if blob.is_round and _LEAST_DROP * rows < blob.width < _MOST_DROP * rows
    ]
    bottom = blobs[0].row + 0.5 * blobs[0].height
    for row in range(first, rows - least):
        if bottom - row > _MOST_BELOW * (row - top):
            continue
        if any(abs(row - ball.row) < 0.3 * ball.height for ball in balls):
            continue
        reach = min(rows - 1 - row, row - max(0, top - 4))
        if reach < least:
            continue
        start = 2
        high = slice(row - start, row - reach - 1 if row - reach - 1 >= 0 else None, -1)
        low = slice(row + start, row + reach + 1)
        a, b = across[high], across[low]
        c, d = down[high], -down[low]
        count = min(len(a), len(b))
        a, b, c, d = a[:count], b[:count], c[:count], d[:count]
        # A straight stem looks the same at every height: only what changes along it counts.
        stem = 0.5 * (a.mean(axis=0) + b.mean(axis=0))
        a, b = a - stem, b - stem
        above = float((a * a).sum() + (c * c).sum())
        below = float((b * b).sum() + (d * d).sum())
        found[row] = ((a * b).sum() + (c * d).sum()) / (
            np.sqrt(above * below) + 0.02 * count * half
        )
        # A short reflection proves less, and so does a place that is no wider than the stem above it.
        found[row] *= reach / (reach + 0.03 * rows + _UNSEEN * (row - top))
        if widths[row] < 1.25 * np.median(widths[max(0, row - 5 * start - 40) : row - 12]):
            found[row] *= 0.7
    if found.max() <= 0.0:
        return None
    best = int(found.argmax())
    near = found[max(0, best - 1) : best + 2]
    shift = 0.0
    if len(near) == 3 and near.min() > -1.0:
        bend = near[0] - 2.0 * near[1] + near[2]
        shift = 0.5 * (near[0] - near[2]) / bend if bend < -1e-6 else 0.0
    away = np.abs(np.arange(rows) - best) > 0.02 * rows
    return Surface(
        best + float(np.clip(shift, -0.5, 0.5)),
        0.0016 * rows,
        float(found[best]),
        float(found[away].max()),
        _is_odd(outlines, best, balls),
    )


def _is_odd(outlines: Outlines, row: int, drops: Sequence[Blob]) -> bool:
    """Whether a drop lacks its reflection in a surface at that row."""
    rows = len(outlines.strength)
    for drop in drops:
        high, low = round(drop.row - 0.5 * drop.height), round(drop.lowest)
        if low > row - _LEAST_BELOW * rows or 2 * row - high >= rows:
            continue
        half = 0.5 * drop.width
        across = slice(max(0, round(drop.column - half)), round(drop.column + half) + 1)
        outline = np.percentile(outlines.strength[high : low + 1, across], 90)
        mirrored = outlines.strength[2 * row - low : 2 * row - high + 1, across]
        if np.percentile(mirrored, 90) < _LEAST_MIRRORED * outline:
            return True
    return False
