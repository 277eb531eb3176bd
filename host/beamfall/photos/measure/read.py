"""What the shapes in a picture mean: the stage of the splash, and the marks to measure from. Upright pixels."""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import numpy as np

from beamfall.photos.measure.edges import Outlines
from beamfall.photos.measure.shapes import (
    OUTSIDE_PX,
    Blob,
    Standing,
    find_axis,
    find_standing,
    list_blobs,
)
from beamfall.photos.measure.surface import Surface, find_surface
from beamfall.photos.measure.upright import (
    UMBRELLA_RATIO,
    Upright,
    find_ball,
    measure_standing,
    measure_top,
    spreads_below,
)

CONTACT_MS = 0.25  # a picture this close to the contact shows it, as in `planning.seek`
_USUAL_SPEED = 3.6  # m/s, of drop 2 against the jet's tip
_USUAL_PER_HEIGHT = 84.0  # mm in a picture's height, where no scale is known
_LEAST_UMBRELLA_MM = 3.5  # no umbrella is narrower than a drop
_TWO_BALLS = 0.1  # by what share of its width a bulge stands out below the ball at a jet's top
_LEAST_CONTRAST = 9.0
LOW_MM = 3.5  # what stands less high has no clear shape
_APART_MM = 3.0
_WIDER = 1.5  # width of an umbrella over that of the drop above it, at least
_FLAT = 1.3  # width over height of a jet's head: with less it is no sheet; a ball has 1.15
# A share of its width: what is lower may be the ring that a crown leaves, seen from above.
_LOW_CROWN = 0.29
_LOW_RING = "a low ring stands on the surface: a crown, or ripples"
# Height over width of the ring that a crown leaves, seen from up to 10° above; how wide it is at half its height, over
# its width just above the surface, where a jet that begins is narrow; how far to the side it reaches.
_RING_FLAT, _RING_UPPER, _RING_ROW_MM, _RING_MM = 0.17, 0.5, 0.5, 25.0
# Drops' widths: crowns widen while they sink. Of 518 simulated crowns, 1 mm high and more, none was wider than this.
_WIDEST_CROWN = 8.12
_UNSURE_SURFACE = 0.035  # of the height, by which a surface that is not clear may be off
_RIPPLES_MM = 12.0  # rings on the surface are not higher than this in the picture


# From a camera up to 10° high, rings of 40 mm reach 7 mm above their middle; no umbrella reaches this far to the side.
_BESIDE_MM, _ABOVE_MM, _RINGS_SHARE = 16.0, 7.0, 0.25


@dataclass
class Reading:
    """Rows and widths in upright pixels; None is 'not there'."""

    stage: str | None
    confidence: float
    axis: float | None = None
    surface: float | None = None
    surface_error: float = math.nan
    about: tuple[float, float] | None = None  # where the surface is, and its error, clear or not
    tip: float | None = None
    stem: float | None = None
    drop: Blob | None = None
    lowest: float | None = None
    apart: Blob | None = None  # a drop above what looks like an umbrella
    drop_width: float | None = None
    left: float | None = None
    right: float | None = None
    rim_row: float | None = None
    rim_height: float | None = None
    crown_width: float | None = None
    is_low_ring: bool = False  # which may be a crown or ripples
    gap_ms: float | None = None  # until drop 2 meets the jet, where both are seen
    ring_width: float | None = None  # of a low ring: a crown that sinks, or what it leaves
    standing: Standing | None = None
    upright: Upright | None = None
    doubts: list[str] = field(default_factory=list)


def read_shapes(
    outlines: Outlines,
    *,
    known_surface: tuple[float, float] | None = None,
    by_hand: float | None = None,
    per_mm: float | None = None,
    speed_m_s: float | None = None,
    down_deg: float | None = None,
    drop_mm: float | None = None,
) -> Reading:
    """Read a picture. `known_surface`: row and error from other pictures; `by_hand`: the row a person set;
    `down_deg`: by what angle the camera looks down.

    `per_mm` in upright pixels and `speed_m_s` of drop 2 against the jet serve to say what is a contact, `drop_mm`, the
    drop's diameter, whether a low ring is still a crown.
    """
    rows = outlines.solid.shape[0]
    blobs, labels = list_blobs(outlines)
    scale = per_mm or rows / _USUAL_PER_HEIGHT
    found = find_axis(outlines, labels)
    if found is None or outlines.contrast < _LEAST_CONTRAST and not _has_blob(blobs, scale):
        sure = 0.95 if outlines.contrast < 0.85 * _LEAST_CONTRAST and not outlines.rings else 0.6
        return Reading("nothing", sure, doubts=["no outline is clear"] if sure < 0.8 else [])
    axis, top = found
    surface = find_surface(outlines, axis, top, blobs)
    if known_surface is None and outlines.rings is not None:
        known_surface = outlines.rings.row, outlines.rings.row_error
    row, error, doubts = _settle_surface(surface, known_surface, by_hand, rows)
    guess = row if row is not None else (surface.row if surface else 0.86 * rows)
    speed = speed_m_s or _USUAL_SPEED
    standing = find_standing(outlines, axis, guess, scale)
    reading = _classify(outlines, blobs, standing, guess, axis, scale, speed)
    if row is None and standing is not None:
        # Its foot may be anywhere: is it the same with the surface elsewhere?
        for other in (guess - _UNSURE_SURFACE * rows, guess + _UNSURE_SURFACE * rows):
            there = find_standing(outlines, axis, other, scale)
            again = _classify(outlines, blobs, there, other, axis, scale, speed)
            reading.confidence = min(
                reading.confidence, again.confidence if again.stage == reading.stage else 0.7
            )
    if (
        drop_mm
        and row is not None
        and (reading.ring_width or 0.0) > _WIDEST_CROWN * drop_mm * scale
    ):
        reading = Reading("nothing", 0.9, axis=axis, is_low_ring=True)
    if _has_rings_above(outlines, standing, axis, guess, scale):
        reading.confidence = min(reading.confidence, 0.6)
        if by_hand is None and known_surface is None:
            row, error = None, math.nan  # rings mirror each other about rows of their own
        reading.doubts.append(
            "rings stand above the surface: lower the camera, set looks_down in the rig file, or set the marks"
        )
    reading.surface, reading.surface_error = row, error
    reading.about = (guess, _UNSURE_SURFACE * rows) if row is None else (row, error)
    reading.standing = standing
    if standing is not None:
        reading.upright = measure_standing(standing, guess, scale)
    reading.doubts += doubts
    _doubt_seen_from_above(reading, outlines.rings is not None, down_deg)
    return reading


def _doubt_seen_from_above(reading: Reading, has_rings: bool, down_deg: float | None) -> None:
    """Rings that are wide enough to be seen are older than a crown, and something made them."""
    if has_rings and reading.stage in ("nothing", "crown"):
        reading.confidence = min(reading.confidence, 0.7)
        reading.doubts.append("rings on the surface hide low shapes")
    if (
        reading.stage == "crown"
        and down_deg
        and reading.crown_width
        and reading.tip is not None
        and reading.surface
    ):
        # Its far side is seen above its near one.
        far = 0.5 * reading.crown_width * math.sin(math.radians(down_deg))
        if reading.surface - reading.tip < 1.5 * far:
            reading.confidence, reading.is_low_ring = min(reading.confidence, 0.6), True
            reading.doubts.append("a ring lies on the surface: a low crown, or ripples")


def _has_blob(blobs: list[Blob], scale: float) -> bool:
    return any(
        (blob.is_round or _enters(blob, scale)) and blob.width > 1.5 * scale for blob in blobs[:5]
    )


def _enters(blob: Blob, scale: float) -> bool:
    """Whether it may be a drop that the top of the frame cuts."""
    return blob.is_cut and blob.row - blob.height < 4.0 and blob.height > 0.1 * scale


def _has_rings_above(
    outlines: Outlines, standing: Standing | None, axis: float, surface: float, scale: float
) -> bool:
    """Whether ripples far from the axis reach above the surface's row, as they do from a camera held high.

    Their arcs would then be taken for edges of what stands.
    """
    reach = _BESIDE_MM * scale
    if standing is not None and np.isfinite(standing.widths).any():
        ends = np.nanmax(standing.right) - axis, axis - np.nanmin(standing.left)
        reach = max(reach, *ends) + scale
    columns = outlines.strength.shape[1]
    beside = np.abs(np.arange(columns) - axis) > reach
    above = outlines.strength[: max(0, round(surface - _ABOVE_MM * scale)), beside]
    if above.size == 0:
        return False
    strong = above > max(5.0, 0.16 * outlines.contrast)
    return float(strong.any(axis=0).mean()) > _RINGS_SHARE


def _settle_surface(
    found: Surface | None, known: tuple[float, float] | None, by_hand: float | None, rows: int
) -> tuple[float | None, float, list[str]]:
    if by_hand is not None:
        return by_hand, 0.001 * rows, []
    if found is not None and found.is_sure:
        if known is None or abs(found.row - known[0]) < 4.0 * math.hypot(found.error, known[1]):
            return found.row, found.error, []
        return (
            known[0],
            known[1],
            ["the surface is taken from its rings or from the other pictures"],
        )
    if known is not None:
        return known[0], known[1], []
    return (
        None,
        math.nan,
        ["the surface is not clear: set it, or measure pictures of one series together"],
    )


def _classify(
    outlines: Outlines,
    blobs: list[Blob],
    standing: Standing | None,
    surface: float,
    axis: float,
    scale: float,
    speed: float,
) -> Reading:
    upright = None if standing is None else measure_standing(standing, surface, scale)
    drop = _find_drop(blobs, standing if upright is not None else None, surface, scale)
    ring = None if drop or standing is None else _find_low_ring(outlines, standing, surface, scale)
    if ring is not None:
        return Reading(
            "crown", 0.6, axis=axis, is_low_ring=True, ring_width=ring, doubts=[_LOW_RING]
        )
    if upright is None or standing is None:
        if drop is None:
            if any(blob.height > _RIPPLES_MM * scale for blob in blobs[:3]):
                return Reading("nothing", 0.6, doubts=["something tall has no clear shape"])
            weak = outlines.contrast < 2.0 * _LEAST_CONTRAST
            if not weak and any(_is_low_ring(blob, surface, scale) for blob in blobs[:3]):
                return Reading("crown", 0.6, axis=axis, is_low_ring=True, doubts=[_LOW_RING])
            return Reading("nothing", 0.9 if weak else 0.85)
        made = Reading("before", 0.95 if drop.is_round else 0.85, axis=drop.column)
        return add_drop(made, drop)
    if upright.is_crown:
        if drop is not None:  # a crown's own droplets are smaller
            return add_drop(Reading("before", 0.85, axis=standing.axis), drop)
        made = Reading("crown", upright.confidence, axis=standing.axis, tip=standing.tip)
        made.crown_width = upright.widest
        if surface - standing.first < _LOW_CROWN * upright.widest:
            made.confidence, made.is_low_ring = 0.6, True
            made.doubts.append(_LOW_RING)
        return made
    made = Reading(None, 0.0, axis=standing.axis, tip=standing.tip, stem=upright.stem)
    ratio = upright.widest / upright.stem if upright.stem else math.nan
    high = surface - standing.tip
    if upright.stem is None or high < LOW_MM * scale:
        # A drop well above it has met nothing yet, whatever it is.
        is_apart = drop is not None and standing.tip - find_lowest(drop) > _APART_MM * scale
        made.stage, made.confidence = (
            ("jet", 0.6) if drop is None else ("before", 0.85 if is_apart else 0.7)
        )
        if not is_apart:
            made.doubts.append("the shape on the surface is too low to be clear")
        return made if drop is None else add_drop(made, drop)
    if drop is not None:
        gap_ms = (standing.tip - find_lowest(drop)) / scale / speed
        made.stage = "contact" if gap_ms <= CONTACT_MS else "before"
        made.confidence = min(0.97, 0.5 + abs(gap_ms - CONTACT_MS) / 0.2)
        made.gap_ms = gap_ms
        # An umbrella grows far wider than a drop; a rising jet may have a wide head.
        if ratio > UMBRELLA_RATIO * 1.1 and upright.widest > _WIDER * drop.across:
            made.stage, made.confidence, made.apart = "after", 0.75, drop
            return add_umbrella(made, upright)
        return add_drop(made, drop)
    ball = find_ball(standing, surface, scale)
    if ball is not None:
        gap_ms = ball.gap / scale / speed
        made.stage = "contact" if gap_ms <= CONTACT_MS else "before"
        made.confidence = min(0.94, 0.5 + abs(gap_ms - CONTACT_MS) / 0.2)
        made.gap_ms = gap_ms
        made.lowest, made.drop_width, made.tip = ball.lowest, ball.width, ball.lowest + ball.gap
        if spreads_below(standing, ball.lowest + ball.width, upright.stem):
            made.confidence = 0.7
            made.doubts.append("something spreads on the jet, below what looks like a drop")
        return made
    if ratio > UMBRELLA_RATIO and upright.widest < _FLAT * upright.head:
        made.stage, made.confidence = "jet", 0.7
        made.doubts.append("a ball on a thin jet: its own droplet, or a drop that has just met it")
        return made
    if ratio > UMBRELLA_RATIO:
        made.stage = "after"
        made.confidence = min(0.98, 0.62 + 0.9 * (ratio - UMBRELLA_RATIO))
        aside = abs(0.5 * (upright.left + upright.right) - standing.axis)
        if upright.widest < _LEAST_UMBRELLA_MM * scale or aside > 0.2 * upright.widest:
            made.confidence = 0.7
            made.doubts.append("the wide part is too narrow for an umbrella, or hangs to one side")
        return add_umbrella(made, upright)
    width, again = measure_top(standing, surface, scale)
    if again is None:
        made.stage, made.confidence = "jet", 0.75
        made.doubts.append("a drop touching such a short jet would look the same")
    elif again > _TWO_BALLS:
        made.stage, made.confidence = "contact", 0.7
        made.doubts.append("a drop that has entered the jet, or the jet's own bulb")
        made.lowest, made.drop_width = standing.first + OUTSIDE_PX + width, width
        made.tip = made.lowest
    else:
        made.stage = "jet"
        made.confidence = min(
            0.97, 0.7 + min(UMBRELLA_RATIO - ratio, 0.5), 0.7 + 3.0 * (_TWO_BALLS - again)
        )
    return made


def _find_drop(
    blobs: list[Blob], standing: Standing | None, surface: float, scale: float
) -> Blob | None:
    """The largest round shape in the air, above what stands."""
    ceiling = surface - 1.0 * scale if standing is None else standing.tip + 1.0 * scale
    good = [
        blob
        for blob in blobs
        if 1.6 * scale < blob.width < 8.5 * scale
        and blob.lowest < ceiling
        and (blob.is_round or _enters(blob, scale))
        and abs(blob.column - (standing.axis if standing else blob.column)) < 7.0 * scale
    ]
    return max(good, key=lambda blob: blob.width, default=None)


def _is_low_ring(blob: Blob, surface: float, scale: float) -> bool:
    near = abs(blob.lowest - surface) < 4.0 * scale
    return near and blob.width > 7.0 * scale and blob.height > 2.0 * scale


def _find_low_ring(
    outlines: Outlines, standing: Standing, surface: float, scale: float
) -> float | None:
    """Width of what stands, if it is a low ring."""
    reach = slice(
        max(0, round(standing.axis - _RING_MM * scale)), round(standing.axis + _RING_MM * scale)
    )
    high = surface - standing.first

    def width(row: float) -> float:
        inside = np.flatnonzero(outlines.solid[round(row), reach])
        return float(inside[-1] - inside[0]) - 2.0 * OUTSIDE_PX if inside.size else 0.0

    low = width(surface - _RING_ROW_MM * scale)
    is_ring = high < _RING_FLAT * low and width(surface - 0.5 * high) > _RING_UPPER * low
    return low if is_ring else None


def find_lowest(drop: Blob) -> float:
    """The lowest row when the light began: a drop that falls in the light is longer than wide."""
    smear = 0.0 if drop.is_cut else max(0.0, drop.height - drop.width)
    return drop.lowest - min(smear, 0.35 * drop.width)


def add_drop(made: Reading, drop: Blob) -> Reading:
    made.drop, made.lowest = drop, find_lowest(drop)
    made.drop_width = None if drop.is_cut else drop.across
    return made


def add_umbrella(made: Reading, upright: Upright) -> Reading:
    """Add the ends of an umbrella and its rim."""
    made.left, made.right = upright.left, upright.right
    made.rim_row, made.rim_height = upright.row, upright.rim
    return made
