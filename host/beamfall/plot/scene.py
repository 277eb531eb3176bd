"""A chart as data: shapes and places in the units of its axes, without pixels.

A chart is described once, by a module beside this one. `draw` makes a file of it with matplotlib,
`page/static/chart.js` an SVG in the browser; both know the shapes here, and neither knows what they mean.
A `role` says what a shape is of (`valve`, `flash`, `limit`), and each renderer has a colour for it. A shape
with a `name` is in the legend, once for each name.
"""

from __future__ import annotations

from dataclasses import dataclass, fields, is_dataclass
from typing import Any, Literal

Style = Literal["solid", "dashed", "dotted"]
Mark = Literal["dot", "square", "star", "fall"]
Floats = tuple[float, ...]


@dataclass(frozen=True, slots=True)
class Bar:
    """A time on a row, outlined where `planned` and filled where measured; None: that end was not seen.

    `handle`: what the person who drags it on the page changes, as its chart numbers it.
    """

    role: str
    y: float
    start: float | None
    end: float | None
    planned: bool = False
    title: str = ""
    name: str = ""
    handle: int | None = None


@dataclass(frozen=True, slots=True)
class Line:
    """A line through points."""

    role: str
    xs: Floats
    ys: Floats
    style: Style = "solid"
    name: str = ""


@dataclass(frozen=True, slots=True)
class Band:
    """What lies between two lines."""

    role: str
    xs: Floats
    low: Floats
    high: Floats
    name: str = ""


@dataclass(frozen=True, slots=True)
class Span:
    """What lies between two values of x, from top to bottom."""

    role: str
    low: float
    high: float
    name: str = ""


@dataclass(frozen=True, slots=True)
class Rule:
    """A straight line across the chart at one value of `axis`, with a word at its end."""

    role: str
    axis: Literal["x", "y"]
    at: float
    style: Style = "solid"
    text: str = ""
    name: str = ""


@dataclass(frozen=True, slots=True)
class Dots:
    """Marks at points; `titles` are shown under the pointer, one for each mark or none."""

    role: str
    xs: Floats
    ys: Floats
    mark: Mark = "dot"
    titles: tuple[str, ...] = ()
    name: str = ""


@dataclass(frozen=True, slots=True)
class Stems:
    """Fine upright lines from `base` to `tops`."""

    role: str
    xs: Floats
    base: float
    tops: Floats
    name: str = ""


@dataclass(frozen=True, slots=True)
class Arrow:
    """A distance along x at the height `y`; `foot` is where a dotted line from its start ends."""

    role: str
    start: float
    end: float
    y: float
    text: str
    foot: float | None = None


@dataclass(frozen=True, slots=True)
class Note:
    """Words beside a point. The page leaves them out if they would cover something else."""

    role: str
    x: float
    y: float
    text: str


Shape = Bar | Line | Band | Span | Rule | Dots | Stems | Arrow | Note


@dataclass(frozen=True, slots=True)
class Axis:
    """The quantity along an axis, with its unit; `whole`: only whole numbers make sense.

    `log`: in powers of ten, in files only.
    """

    label: str
    whole: bool = False
    log: bool = False


@dataclass(frozen=True, slots=True)
class Row:
    """One line of a chart with rows: the row n is at y = n, counted downwards. `remark` is at its right end."""

    name: str
    role: str
    remark: str = ""
    alert: bool = False


@dataclass(frozen=True, slots=True)
class View:
    """A part of a panel: (left, right) and (bottom, top)."""

    name: str
    x: tuple[float, float]
    y: tuple[float, float]


@dataclass(frozen=True, slots=True)
class Panel:
    """One pair of axes. Of `views` the first shows everything; a file draws two of them side by side."""

    title: str
    x: Axis
    y: Axis
    views: tuple[View, ...]
    shapes: tuple[Shape, ...]
    rows: tuple[Row, ...] = ()
    said: str = ""  # for those who cannot see it


@dataclass(frozen=True, slots=True)
class Chart:
    """Panels in rows under a title; `alerts` are what the person must not miss."""

    title: str
    panels: tuple[tuple[Panel, ...], ...]
    subtitle: str = ""
    alerts: tuple[str, ...] = ()
    failed: bool = False  # the title is in the colour of an alert


def to_json(thing: Any) -> Any:
    """A chart or a part of it as the page reads it: objects, a shape with its `shape`."""
    if is_dataclass(thing):
        named = {"shape": type(thing).__name__} if isinstance(thing, Shape) else {}
        return named | {one.name: to_json(getattr(thing, one.name)) for one in fields(thing)}
    if isinstance(thing, tuple):
        return [to_json(one) for one in thing]
    return round(thing, 6) if isinstance(thing, float) else thing
