"""The words in a chart's file, placed where they cover nothing, and the colours of its roles."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

from beamfall.plot.scene import Arrow, Bar, Dots, Note, Panel, Rule, View

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure
    from matplotlib.text import Text
    from matplotlib.transforms import Bbox

# Okabe & Ito (2008), "Color universal design": told apart by people of every colour vision.
COLOURS = {
    "camera": "#56B4E9", "valve": "#0072B2", "beam": "#E69F00", "flash": "#D55E00",
    "light": "#CC79A7", "button": "#000000", "truth": "#009E73", "jet": "#56B4E9",
    "water": "#1d4c66", "drop1": "#0072B2", "drop2": "#009E73", "drop3": "#CC79A7",
    "dot": "#0072B2", "average": "#E69F00", "limit": "#5b6875", "bad": "#B00020",
    "ink": "#333333", "soft": "#777777",
}  # fmt: skip
# Words in these colours are too pale on white: darker, of the same hue.
_WORDS = {"camera": "#1c6f9f", "beam": "#8A6000", "jet": "#1c6f9f", "light": "#9c4a78"}
_WHITE = {"facecolor": "white", "edgecolor": "none", "pad": 0.8, "alpha": 0.85}
_GAP = 6.0  # points between a thing and the words beside it
OUTLINE = 0.54  # height of a planned bar, of rows 1 apart


def find_word_colour(role: str) -> str:
    return _WORDS.get(role, COLOURS[role])


def place_notes(figure: Figure, drawn: list[tuple[Axes, Panel, View]]) -> None:
    """Write the words of notes, arrows and rules beside their shapes, without covering anything."""
    engine = figure.get_layout_engine()
    assert engine is not None
    engine.execute(figure)  # now the axes have their size
    figure.set_layout_engine("none")
    for axes, panel, view in drawn:
        taken = list(_list_obstacles(axes, panel))
        for x, y, text, colour, sides, size in _list_words(panel, view):
            _write(axes, x, y, text, colour, sides, size, taken)


def _list_words(
    panel: Panel, view: View
) -> Iterator[tuple[float, float, str, str, tuple[str, ...], int]]:
    """Place, text, colour, sides to try and size: first the words that have the least choice."""
    left, right = view.x
    low, high = sorted(view.y)
    for shape in panel.shapes:
        match shape:
            case Arrow() if shape.end > left and shape.start < right:
                middle = (max(shape.start, left) + min(shape.end, right)) / 2
                yield middle, shape.y, shape.text, find_word_colour(shape.role), ("over",), 9
            case Rule(axis="y") if shape.text and low <= shape.at <= high:
                yield right, shape.at, shape.text, find_word_colour(shape.role), ("inside",), 9
            case Rule(axis="x") if shape.text and left <= shape.at <= right:
                yield shape.at, view.y[1], shape.text, find_word_colour(shape.role), ("under",), 8
    for shape in panel.shapes:
        if isinstance(shape, Note) and left <= shape.x <= right:
            sides = ("right", "left", "above")
            yield shape.x, shape.y, shape.text, find_word_colour(shape.role), sides, 8


def _list_obstacles(axes: Axes, panel: Panel) -> Iterator[Bbox]:
    """What words may not cover, in pixels: bars and single marks."""
    from matplotlib.transforms import Bbox

    left, right = axes.get_xlim()
    for shape in panel.shapes:
        if isinstance(shape, Bar):
            start = left if shape.start is None else shape.start
            end = right if shape.end is None else shape.end
            low, high = shape.y - OUTLINE / 2, shape.y + OUTLINE / 2
            yield Bbox(axes.transData.transform([(start, high), (end, low)]))
        elif isinstance(shape, Dots) and panel.rows:
            for x, y in zip(shape.xs, shape.ys, strict=True):
                here = axes.transData.transform((x, y))
                yield Bbox([here - 8.0, here + 8.0])


# Offset in gaps, and where the text's own anchor is: words beside, above and below a point.
_SIDES = {
    "right": (1.0, 0.0, "left", "center"),
    "left": (-1.2, 0.0, "right", "center"),
    "above": (0.0, 3.2, "left", "bottom"),
    "over": (0.0, 0.4, "center", "bottom"),
    "inside": (-1.0, 0.4, "right", "bottom"),
    "under": (1.0, -0.4, "left", "top"),
}


def _write(
    axes: Axes,
    x: float,
    y: float,
    text: str,
    colour: str,
    sides: tuple[str, ...],
    size: int,
    taken: list[Bbox],
) -> None:
    """Try the sides in turn; if none is free, use the last, since a file must not leave anything out."""
    written: Text | None = None
    for side in sides:
        if written is not None:
            written.remove()
        right, up, ha, va = _SIDES[side]
        written = axes.annotate(
            text, (x, y), (right * _GAP, up * _GAP), textcoords="offset points", ha=ha, va=va,
            fontsize=size, color=colour, zorder=6, bbox=_WHITE if side == "over" else None,
        )  # fmt: skip
        box = _keep_inside(axes, written)
        if not any(box.overlaps(other) for other in taken) and _is_inside(axes, box):
            break
    assert written is not None
    taken.append(written.get_window_extent())


def _keep_inside(axes: Axes, text: Text) -> Bbox:
    """Push words that are centred on something back between the ends of the axis."""
    box = text.get_window_extent()
    if text.get_horizontalalignment() == "center":
        frame = axes.get_window_extent()
        shift = max(frame.x0 - box.x0, 0.0) + min(frame.x1 - box.x1, 0.0)
        across, up = text.get_position()
        text.set_position((across + shift * 72.0 / axes.figure.dpi, up))
        box = text.get_window_extent()
    return box


def _is_inside(axes: Axes, box: Bbox) -> bool:
    frame = axes.get_window_extent()
    return bool(frame.x0 <= box.x0 and box.x1 <= frame.x1)
