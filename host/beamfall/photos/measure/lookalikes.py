"""What else the shapes in a picture may be: other readings of them, and how much more or less likely each looks."""

from __future__ import annotations

import math
from dataclasses import replace

from beamfall.photos.measure.read import Reading, add_umbrella
from beamfall.photos.measure.result import SURE
from beamfall.photos.measure.shapes import OUTSIDE_PX
from beamfall.photos.measure.upright import measure_roundness, measure_top

# Which stages look alike, by what share of the doubt that a reading leaves (estimates). A jet's head, a ball that
# touches it and a young umbrella are one shape at a thin jet's top; a crown's wall may look like any of them when low.
_ALIKE = {
    "jet": {"after": 0.4, "contact": 0.4, "nothing": 0.1, "crown": 0.1},
    "contact": {"after": 0.3, "jet": 0.4, "before": 0.2, "crown": 0.1},
    "after": {"jet": 0.4, "contact": 0.3, "before": 0.15, "crown": 0.15},
    "before": {"jet": 0.4, "contact": 0.3, "after": 0.2, "crown": 0.1},
    "crown": {"nothing": 0.5, "jet": 0.3, "before": 0.1, "after": 0.1},
    "nothing": {"crown": 0.6, "jet": 0.4},
}
# The same of what sits on a jet, where that is not clear: round, nearly round, and of another shape. Of 33 simulated
# ones, round outlines are off a circle by up to 0.031 of their diameter, sheets and caps by 0.066 and more.
_ROUND, _NEARLY_ROUND = 0.045, 0.1
_ON_JET = (
    (_ROUND, {"contact": 0.5, "jet": 0.4, "before": 0.05, "after": 0.03, "crown": 0.02}),
    (_NEARLY_ROUND, {"contact": 0.15, "jet": 0.4, "before": 0.02, "after": 0.4, "crown": 0.03}),
    (10.0, {"contact": 0.02, "jet": 0.46, "before": 0.01, "after": 0.46, "crown": 0.05}),
)
# Outlines of round drops on jets, over their diameter (the same pictures: 1.02 to 1.06).
_SEEN_WIDER = 1.04
_WIDTH_ERROR = 0.03  # of such a width, where the drop is round
_ROUGH_WIDTH_ERROR = 0.1  # where it is not
_WIDEST_STEM = 2.0  # drops' widths; stems of computed jets reach 1.4


def list_lookalikes(
    reading: Reading, surface: float, scale: float, drop_mm: float, drop_error: float
) -> list[tuple[Reading, float]]:
    """Return the reading itself and the others that its shapes allow, each with its weight; the weights sum to 1.

    `surface`: its row; `scale`: pixels in a mm; `drop_mm`: the drop's diameter, with its relative error.
    """
    if reading.confidence < SURE and reading.stage in ("jet", "contact", "after"):
        weights = _weigh_top(reading, scale * drop_mm, drop_error)
        if weights is not None:
            readings = {
                stage: reading
                if stage == reading.stage
                else _read_as(reading, stage, surface, scale)
                for stage in weights
            }
            found = [(one, weights[stage]) for stage, one in readings.items() if one is not None]
            total = sum(weight for _, weight in found)
            return [(one, weight / total) for one, weight in found]
    alike = _ALIKE.get(reading.stage or "", {})
    others = [
        (other, share)
        for stage, share in alike.items()
        if (other := _read_as(reading, stage, surface, scale)) is not None
    ]
    total = sum(share for _, share in others)
    if total <= 0.0:
        return [(reading, 1.0)]
    left = 1.0 - reading.confidence
    return [
        (reading, reading.confidence),
        *((other, left * share / total) for other, share in others),
    ]


def _weigh_top(reading: Reading, drop: float, drop_error: float) -> dict[str, float] | None:
    """How likely each stage is by the shape of what sits on a jet; `drop`: drop 2's diameter in pixels.

    None without a shape to judge.
    """
    if reading.upright is not None and (reading.upright.stem or 0.0) > _WIDEST_STEM * drop:
        return {"crown": 0.9, "jet": 0.05, "after": 0.05}
    fit = None if reading.standing is None else measure_roundness(reading.standing)
    if fit is None:
        return None
    width, misfit = fit
    weights = dict(next(weights for most, weights in _ON_JET if misfit < most))
    error = math.hypot(drop_error, _WIDTH_ERROR if misfit < _ROUND else _ROUGH_WIDTH_ERROR)
    off = (width / drop / _SEEN_WIDER - 1.0) / error
    weights["contact"] *= math.exp(-0.5 * off**2) + 0.01
    return weights


def _read_as(reading: Reading, stage: str, surface: float, scale: float) -> Reading | None:
    """The same shapes as another stage; None if that stage needs a shape that is not there."""
    standing, upright = reading.standing, reading.upright
    bare = Reading(
        stage, 0.0, axis=reading.axis, surface=reading.surface, surface_error=reading.surface_error,
        standing=standing, upright=upright,
    )  # fmt: skip
    if stage == "nothing":
        return bare
    if stage == "before":  # it needs a drop that is apart from what stands
        if reading.lowest is None or reading.tip is not None and reading.lowest > reading.tip:
            return None
        drop = {
            name: getattr(reading, name) for name in ("drop", "lowest", "drop_width", "tip", "stem")
        }
        return replace(bare, **drop)
    if standing is None:
        return None
    bare.tip = standing.tip
    if stage == "crown":
        bare.crown_width = None if upright is None else upright.widest
        return bare
    if upright is None:
        return None if stage == "after" else bare
    bare.stem = upright.stem
    if stage == "after":
        return add_umbrella(bare, upright)
    if stage == "contact":
        if reading.drop is not None:
            bare.drop, bare.lowest, bare.drop_width = (
                reading.drop,
                reading.lowest,
                reading.drop_width,
            )
        else:
            width, _ = measure_top(standing, surface, scale)
            bare.lowest = bare.tip = standing.first + OUTSIDE_PX + width
            bare.drop_width = width
    return bare
