"""The rig of a recipe to scale, as SVG: bottle, nozzle, beams, jet, dish."""

from __future__ import annotations

from collections.abc import Callable

from beamfall.recipes.recipe import Recipe, find_partners
from beamfall.setup.rig import Rig
from beamfall.setup.unit_words import format_length
from beamfall.text import show_html

_WIDTH, _TALL = 260.0, 330.0  # of the drawing; the rig's heights fill _TALL
_TOP, _BOTTOM = 16.0, 26.0
_FALL_X = 96.0  # of the first valve's fall line
_LABEL_X = 168.0
_GAP = 11.0  # between labels
_GREY = "#666"


def draw_rig(recipe: Recipe) -> str:
    """Return the drawing: one scale for all heights; widths across the dish are limited to fit."""
    rig = recipe.rig
    top_m = max(one.height_m + one.head_m for one in rig.valves)
    per_m = _TALL / top_m
    surface = _TOP + _TALL

    def y(height_m: float) -> float:
        return surface - height_m * per_m

    parts = [*_draw_dish(rig, surface, per_m), *_draw_valves(rig, y), *_draw_beams(rig, y)]
    labels = [
        (y(one.height_m), f"nozzle {format_length(one.height_m)}") for one in find_partners(rig)[:1]
    ]
    labels += [(y(one.height_m), f"{one.input} {format_length(one.height_m)}") for one in rig.beams]
    valve = rig.valves[0]
    labels.append((y(valve.height_m + valve.head_m), f"air inlet +{format_length(valve.head_m)}"))
    labels.append((surface, "surface 0"))
    looks = recipe.looks
    if looks is not None and looks.jet_m is not None:
        high = y(looks.jet_m)
        parts.append(
            f'<path d="M{_FALL_X - 5} {surface:.1f} Q{_FALL_X} {surface - 2:.1f} {_FALL_X} {high:.1f} '
            f'Q{_FALL_X} {surface - 2:.1f} {_FALL_X + 5} {surface:.1f} Z" fill="#9bc" stroke="#357"/>'
        )
        labels.append((high, f"jet about {looks.jet_m * 1e3:.0f} mm"))
    height = surface + _BOTTOM
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {_WIDTH:.0f} {height:.0f}" role="img" '
        'aria-label="The rig from the side, heights to scale" font-family="system-ui, sans-serif" font-size="9">'
        f"{''.join(parts)}{''.join(_place_labels(labels))}</svg>"
    )


def _draw_dish(rig: Rig, surface: float, per_m: float) -> list[str]:
    half = min(70.0, 0.5 * (rig.dish.diameter_m or 0.2) * per_m)
    deep = max(3.0, min(rig.dish.depth_m * per_m, _BOTTOM - 6.0))
    left, right = _FALL_X - half, _FALL_X + half
    return [
        f'<rect x="{left:.1f}" y="{surface:.1f}" width="{2 * half:.1f}" height="{deep:.1f}" fill="#cde"/>',
        f'<path d="M{left:.1f} {surface - 3:.1f} V{surface + deep:.1f} H{right:.1f} V{surface - 3:.1f}" '
        'fill="none" stroke="#111"/>',
    ]


def _draw_valves(rig: Rig, y: Callable[[float], float]) -> list[str]:
    parts = []
    for valve in rig.valves:
        x = _across(rig, valve.place_m)
        mouth, inlet = y(valve.height_m), y(valve.height_m + valve.head_m)
        parts.append(
            f'<path d="M{x - 9:.1f} {inlet - 10:.1f} V{mouth - 8:.1f} H{x - 2:.1f} V{mouth:.1f} H{x + 2:.1f} '
            f'V{mouth - 8:.1f} H{x + 9:.1f} V{inlet - 10:.1f}" fill="#eef3f8" stroke="#111"/>'
            f'<path d="M{x - 9:.1f} {inlet:.1f} h6" stroke="#111" stroke-width="1.5"/>'
            f'<path d="M{x:.1f} {mouth + 2:.1f} V{y(0.0):.1f}" stroke="{_GREY}" stroke-dasharray="2 3"/>'
            f'<circle cx="{x:.1f}" cy="{mouth + 16:.1f}" r="3" fill="#357"/>'
        )
    return parts


def _draw_beams(rig: Rig, y: Callable[[float], float]) -> list[str]:
    return [
        f'<path d="M{_across(rig, one.place_m) - 24:.1f} {y(one.height_m):.1f} h48" stroke="#b00" '
        'stroke-width="1.2"/>'
        for one in rig.beams
    ]


def _across(rig: Rig, place_m: float) -> float:
    """Where a place along the dish is drawn: the first valve in the middle, others at most 60 away."""
    off = 400.0 * (place_m - rig.valves[0].place_m)
    return _FALL_X + max(-60.0, min(60.0, off))


def _place_labels(labels: list[tuple[float, str]]) -> list[str]:
    """Labels at the right, moved apart where heights are close, each with a line to its height."""
    parts, last = [], 0.0
    for at, text in sorted(labels):
        place = max(at, last + _GAP)
        last = place
        parts.append(
            f'<path d="M{_FALL_X + 26:.1f} {at:.1f} H{_LABEL_X - 14:.1f} L{_LABEL_X - 3:.1f} {place:.1f}" '
            f'fill="none" stroke="{_GREY}" stroke-width="0.5"/>'
            f'<text x="{_LABEL_X:.1f}" y="{place + 3:.1f}">{show_html(text)}</text>'
        )
    return parts
