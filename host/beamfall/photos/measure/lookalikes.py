"""What else the shapes in a picture may be: other readings of them, and how much more or less likely each looks."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import replace

from beamfall.photos.measure.read import LOW_MM, Reading, add_drop, add_umbrella
from beamfall.photos.measure.result import SURE
from beamfall.photos.measure.shapes import OUTSIDE_PX
from beamfall.photos.measure.upright import SEEN_WIDER, Touch, measure_roundness, measure_top

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
# A low ring may be a crown or what it leaves; a jet that begins is narrow. What is low and narrow may be any of them.
_LOW_RING = {"crown": 0.5, "nothing": 0.47, "jet": 0.03}
# A ring wider than crowns become. Of the computed splashes' rings as wide, few are crowns; but width and time tell the
# same, and the log's time counts beside this.
_WIDE_RING = {"nothing": 0.72, "crown": 0.25, "jet": 0.03}
_LOW = {"jet": 0.4, "crown": 0.35, "nothing": 0.25}
# The same of what sits on a jet, where that is not clear: round, nearly round, and of another shape. Of 33 simulated
# ones, round outlines are off a circle by up to 0.031 of their diameter, sheets and caps by 0.066 and more.
_ROUND, _NEARLY_ROUND = 0.045, 0.1
_SHAPELESS = 0.2  # from here on, outlines are too poor for more than a guess
_ON_JET = (
    (_ROUND, {"contact": 0.6, "jet": 0.2, "before": 0.05, "after": 0.13, "crown": 0.02}),
    (_NEARLY_ROUND, {"contact": 0.08, "jet": 0.4, "before": 0.02, "after": 0.47, "crown": 0.03}),
    (10.0, {"contact": 0.02, "jet": 0.46, "before": 0.01, "after": 0.46, "crown": 0.05}),
)
LEAST_BALL = 0.6  # of a drop's width: what is narrower is no ball of its own
_WIDTH_ERROR = 0.03  # of such a width, where the drop is round
_ROUGH_WIDTH_ERROR = 0.06  # where it is not
# Widths of young umbrellas and of jets' heads, in drops' (simulated: 1.16 to 1.9; most heads 0.9 to 1.7).
_YOUNG, _HEADS = (1.1, 1.9), (0.7, 1.7)
_UNUSUAL = 0.002  # the density of any other width
_ANY_WIDTH = 0.05  # the same of jets' heads, of which some are thin, and of a crown's parts
# The share of what looks like an umbrella with a drop above it that is a jet before the contact (estimate).
_DROP_ABOVE = 0.4
_DEEPEST = 0.2  # of its width: how far a drop enters the jet during a contact, 0.25 ms at 3.5 m/s
_WIDEST_STEM = 2.0  # drops' widths; stems of computed jets reach 1.4


def list_lookalikes(
    reading: Reading,
    surface: float,
    scale: float,
    drop_mm: float,
    drop_error: float,
    touch: Touch | None = None,
) -> list[tuple[Reading, float]]:
    """Return the reading itself and the others that its shapes allow, each with its weight; the weights sum to 1.

    `surface`: its row; `scale`: pixels in a mm; `drop_mm`: the drop's diameter, with its relative error;
    `touch`: how close to what stands its outlines show it, where they join the two.
    """
    shares: dict[str, float] | None = None
    if reading.confidence < SURE or reading.is_low_ring:
        shares = _weigh_low(reading, surface, scale)
        if shares is None and reading.stage in ("jet", "contact", "after"):
            shares = _weigh_top(reading, scale * drop_mm, drop_error)
    if shares is not None:
        return _read_each(reading, shares, surface, scale, touch)
    others = _read_each(reading, _ALIKE.get(reading.stage or "", {}), surface, scale, touch)
    if not others:
        return [(reading, 1.0)]
    left = 1.0 - reading.confidence
    return [(reading, reading.confidence), *((other, left * share) for other, share in others)]


def _read_each(
    reading: Reading, shares: Mapping[str, float], surface: float, scale: float, touch: Touch | None
) -> list[tuple[Reading, float]]:
    """The readings that the shapes allow, each with its share; the shares sum to 1."""
    found = []
    for stage, share in shares.items():
        one = reading if stage == reading.stage else _read_as(reading, stage, surface, scale, touch)
        if one is not None:
            found.append((one, share))
    total = sum(share for _, share in found)
    return [(one, share / total) for one, share in found]


def _weigh_low(reading: Reading, surface: float, scale: float) -> dict[str, float] | None:
    """How likely each stage is if nothing but something low stands on the surface; None otherwise."""
    if reading.is_low_ring:
        return _WIDE_RING if reading.stage == "nothing" else _LOW_RING
    is_low = reading.tip is not None and surface - reading.tip < LOW_MM * scale
    return _LOW if is_low and reading.stage == "jet" else None


def _weigh_top(reading: Reading, drop: float, drop_error: float) -> dict[str, float] | None:
    """How likely each stage is by the shape of what sits on a jet; `drop`: drop 2's diameter in pixels.

    None without a shape to judge.
    """
    if reading.upright is not None and (reading.upright.stem or 0.0) > _WIDEST_STEM * drop:
        return {"crown": 0.9, "jet": 0.05, "after": 0.05}
    fit = (
        None if reading.standing is None else measure_roundness(reading.standing, LEAST_BALL * drop)
    )
    if fit is None:
        return None
    width, misfit = fit
    weights = dict(next(weights for most, weights in _ON_JET if misfit < most))
    error = math.hypot(drop_error, _WIDTH_ERROR if misfit < _ROUND else _ROUGH_WIDTH_ERROR)
    wider = width / drop / SEEN_WIDER
    # Densities of the width: a drop that has met the jet spreads, and is wider than drop 2.
    bell = math.exp(-0.5 * ((wider - 1.0) / error) ** 2) / (error * math.sqrt(2.0 * math.pi))
    weights["contact"] *= bell + _UNUSUAL
    if reading.apart is not None:
        weights["before"] = _DROP_ABOVE
    elif reading.lowest is None:  # the gap says which of the two it is
        weights["before"] = weights["contact"]
    else:
        weights["before"] *= bell + _UNUSUAL
    weights["after"] *= _lie_between(_YOUNG, wider, error) + _UNUSUAL
    if misfit < _SHAPELESS:
        weights["jet"] *= _lie_between(_HEADS, wider, error) + _ANY_WIDTH
        weights["crown"] *= _ANY_WIDTH
    else:
        weights["jet"] *= _lie_between(_HEADS, wider, error) + _UNUSUAL
    return weights


def _lie_between(ends: tuple[float, float], value: float, error: float) -> float:
    """Density of a value with its standard error that lies anywhere between two ends."""
    low, high = (math.erf((end - value) / (error * math.sqrt(2.0))) for end in ends)
    return 0.5 * (high - low) / (ends[1] - ends[0])


def _read_ball(bare: Reading, touch: Touch) -> Reading:
    """Add a drop that outlines join to what it meets, or is about to."""
    least, most = (-_DEEPEST * touch.width, 0.0) if bare.stage == "contact" else (0.0, math.inf)
    bare.lowest, bare.drop_width = touch.lowest, touch.width
    bare.tip = touch.lowest + min(max(touch.gap, least), most)
    return bare


def _read_as(
    reading: Reading, stage: str, surface: float, scale: float, touch: Touch | None
) -> Reading | None:
    """The same shapes as another stage; None if that stage needs a shape that is not there."""
    standing, upright = reading.standing, reading.upright
    bare = Reading(
        stage, 0.0, axis=reading.axis, surface=reading.surface, surface_error=reading.surface_error,
        standing=standing, upright=upright,
    )  # fmt: skip
    if stage == "nothing":
        return bare
    if stage == "before":  # it needs a drop that is apart from what stands
        if reading.apart is not None and standing is not None:
            bare.tip, bare.stem = standing.tip, reading.stem
            return add_drop(bare, reading.apart)
        if reading.lowest is None and standing is not None:
            return None if touch is None else _read_ball(bare, touch)
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
        elif touch is not None:
            return _read_ball(bare, touch)
        else:
            width, _ = measure_top(standing, surface, scale)
            bare.lowest = bare.tip = standing.first + OUTSIDE_PX + width
            bare.drop_width = width
    return bare
