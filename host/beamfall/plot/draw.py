"""Draws a chart into a file or a figure with matplotlib, which is imported only here and only to draw."""

from __future__ import annotations

import contextlib
import warnings
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Any

from beamfall.errors import UserError
from beamfall.files import write_whole
from beamfall.plot.scene import (
    Arrow,
    Band,
    Bar,
    Chart,
    Dots,
    Line,
    Panel,
    Rule,
    Shape,
    Span,
    Stems,
    View,
)
from beamfall.plot.words import COLOURS, OUTLINE, find_word_colour, place_notes
from beamfall.text import show_text

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

_STYLES: dict[str, Any] = {"solid": "-", "dashed": (0, (5, 3)), "dotted": ":"}
_MARKS = {"dot": "o", "square": "s", "star": "*", "fall": "v"}
_GREY = "#777777"
_VIEWS = 2  # of a panel, side by side
_CLOSER = 0.65  # width of the second view to the first
_BAR = 0.4  # height of a measured bar, of rows 1 apart
_LEAST = 0.003  # of the axis: a flash of 2 ms in a shot of a second would vanish
_LEADING = 1.6  # from line to line, in sizes of the letters


def draw_chart(chart: Chart, path: str | Path) -> None:
    """Draw a chart into `path` (.png, .svg or .pdf).

    Raises UserError if the file cannot be written or its ending is unknown.
    """
    from matplotlib.text import Text

    figure = make_figure(chart)
    for text in figure.findobj(Text):
        text.set_parse_math(False)
        text.set_text(show_text(text.get_text(), keep_lines=True))
    try:
        with write_whole(Path(path)) as part, _plain_text():
            figure.savefig(part, dpi="figure")
    except ValueError as error:  # matplotlib's word for an ending it does not know
        raise UserError(f"{path}: give a name that ends in .png, .svg or .pdf") from error


@contextlib.contextmanager
def _plain_text() -> Iterator[None]:
    """Names are plain text, even with a `$` in them. A missing letter is drawn as a box, without a terminal warning."""
    import matplotlib

    with (
        warnings.catch_warnings(action="ignore", category=UserWarning),
        matplotlib.rc_context({"text.parse_math": False}),
    ):
        yield


@_plain_text()
def make_figure(chart: Chart) -> Figure:
    """Return a chart as a matplotlib figure, drawn and not saved."""
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure
    from matplotlib.layout_engine import ConstrainedLayoutEngine

    columns = [_split(row) for row in chart.panels]
    heights = [
        0.7 + 0.62 * max(2, len(row[0].rows)) if row[0].rows else 2.7 for row in chart.panels
    ]
    if len(chart.panels) == 1 and not chart.panels[0][0].rows:
        heights = [4.8]
    head = list(_list_head(chart))
    height = 0.6 + sum(heights) + sum(_LEADING * size for _, size, _, _ in head) / 72.0
    figure = Figure(figsize=(14.0, height), dpi=110)
    FigureCanvasAgg(figure)
    top = _write_head(figure, head)
    figure.set_layout_engine(
        ConstrainedLayoutEngine(w_pad=0.06, h_pad=0.06, rect=(0.0, 0.0, 1.0, top))
    )
    grid = figure.subplots(
        len(columns), max(map(len, columns)), squeeze=False,
        width_ratios=[1.0] + [_CLOSER] * (max(map(len, columns)) - 1), height_ratios=heights,
    )  # fmt: skip
    notes: list[tuple[Axes, Panel, View]] = []
    for line, panels in zip(grid, columns, strict=True):
        for place, (axes, (panel, view)) in enumerate(zip(line, panels, strict=False)):
            _draw_panel(axes, panel, view, first=place == 0, last=place == len(panels) - 1)
            notes.append((axes, panel, view))
        for axes in line[len(panels) :]:
            axes.set_axis_off()
    for axes in grid[:-1].flat:
        if axes.get_xlabel() == columns[-1][0][0].x.label:
            axes.set_xlabel("")  # the lowest row labels the axis for all
    _add_legend(figure, chart)
    place_notes(figure, notes)
    return figure


def _split(panels: tuple[Panel, ...]) -> list[tuple[Panel, View]]:
    return [(panel, view) for panel in panels for view in panel.views[:_VIEWS]]


# -- axes ------------------------------------------------------------------------------------------
def _draw_panel(axes: Axes, panel: Panel, view: View, *, first: bool, last: bool) -> None:
    from matplotlib.ticker import MaxNLocator

    if panel.y.log:
        axes.set_yscale("log")
        axes.yaxis.set_major_formatter("{x:g}")
    axes.set_xlim(view.x)
    axes.set_ylim(view.y)
    for shape in panel.shapes:
        _DRAW.get(type(shape), _leave_out)(axes, shape)
    axes.set_xlim(view.x)
    axes.set_ylim(view.y)
    axes.set_xlabel(panel.x.label, color=COLOURS["ink"])
    for quantity, axis in ((panel.x, axes.xaxis), (panel.y, axes.yaxis)):
        if quantity.whole:
            axis.set_major_locator(MaxNLocator(integer=True, nbins=8))
    title = panel.title or (view.name if len(panel.views) > 1 else "")
    axes.set_title(title, loc="left", fontsize=10, color=COLOURS["ink"])
    axes.grid(axis="x" if panel.rows else "both", color="#DDDDDD", lw=0.6)
    axes.set_axisbelow(True)
    axes.tick_params(colors=COLOURS["ink"], labelsize=9)
    for side in ("top", "right"):
        axes.spines[side].set_visible(False)
    for side in ("left", "bottom"):
        axes.spines[side].set_color(COLOURS["soft"])
    if not panel.x.label and not panel.y.label:
        axes.set_axis_off()  # words only
    if panel.rows:
        _dress_rows(axes, panel, first=first, last=last)
    else:
        axes.set_ylabel(panel.y.label, color=COLOURS["ink"])


def _dress_rows(axes: Axes, panel: Panel, *, first: bool, last: bool) -> None:
    places = range(len(panel.rows))
    axes.spines["left"].set_visible(False)
    axes.tick_params(axis="y", length=0)
    axes.set_yticks(places, [row.name if first else "" for row in panel.rows], fontsize=10)
    for label, row in zip(axes.get_yticklabels(), panel.rows, strict=True):
        label.set_color(find_word_colour(row.role))
    if last:
        right = axes.secondary_yaxis("right")
        right.set_yticks(places, [row.remark for row in panel.rows], fontsize=9)
        right.tick_params(length=0)
        right.spines["right"].set_visible(False)
        for label, row in zip(right.get_yticklabels(), panel.rows, strict=True):
            label.set_color(COLOURS["bad" if row.alert else "ink"])


def _list_head(chart: Chart) -> Iterator[tuple[str, float, str, str]]:
    """Title, alerts, subtitle: text, size in points, colour, weight."""
    yield chart.title, 14.0, COLOURS["bad" if chart.failed else "ink"], "bold"
    for text in chart.alerts:
        yield text, 10.0, COLOURS["bad"], "normal"
    if chart.subtitle:
        yield chart.subtitle, 10.0, COLOURS["ink"], "normal"


def _write_head(figure: Figure, head: list[tuple[str, float, str, str]]) -> float:
    """Write the lines from the top; return where the axes may begin, as a share of the height."""
    height = figure.get_figheight() * 72.0
    y = height - 6.0
    for text, size, colour, weight in head:
        figure.text(
            0.008,
            y / height,
            text,
            fontsize=size,
            color=colour,
            fontweight=weight,
            va="top",
            parse_math=False,
        )
        y -= _LEADING * size
    return (y - 2.0) / height


def _add_legend(figure: Figure, chart: Chart) -> None:
    handles = {}
    for panels in chart.panels:
        for panel in panels:
            for shape in panel.shapes:
                name = getattr(shape, "name", "")
                if name and name not in handles:
                    handles[name] = _make_key(shape)
    if handles:
        figure.legend(
            handles=list(handles.values()), loc="outside lower left", ncols=min(len(handles), 6),
            frameon=False, fontsize=9,
        )  # fmt: skip


def _make_key(shape: Shape) -> Any:
    from matplotlib.lines import Line2D
    from matplotlib.patches import Patch

    colour = COLOURS[shape.role]
    match shape:
        case Bar(planned=True):
            return Patch(facecolor="none", edgecolor="black", label=shape.name)
        case Bar():
            is_open = shape.start is None or shape.end is None
            is_limit = shape.role == "limit"
            hatch, alpha = ("///" if is_open else None), (0.5 if is_open or is_limit else 1.0)
            face = colour if is_limit else _GREY
            return Patch(facecolor=face, hatch=hatch, alpha=alpha, label=shape.name)
        case Band() | Span():
            return Patch(facecolor=colour, alpha=0.3, label=shape.name)
        case Dots():
            mark, face = _MARKS[shape.mark], "none" if shape.mark == "square" else colour
            return Line2D(
                [], [], color=colour, marker=mark, ls="none", ms=5, mfc=face, label=shape.name
            )
        case Stems():
            return Line2D([], [], color=colour, marker="|", ls="none", ms=9, label=shape.name)
        case Line() | Rule():
            return Line2D([], [], color=colour, ls=_STYLES[shape.style], label=shape.name)
    raise TypeError(shape)


# -- shapes ----------------------------------------------------------------------------------------
def _draw_bar(axes: Axes, bar: Bar) -> None:
    left, right = axes.get_xlim()
    is_open = bar.start is None or bar.end is None
    start = left if bar.start is None else bar.start
    end = right if bar.end is None else bar.end
    width = max(end - start, _LEAST * (right - left))
    height = OUTLINE if bar.planned else _BAR
    colour = COLOURS[bar.role]
    axes.broken_barh(
        [(start, width)],
        (bar.y - height / 2, height),
        facecolors="none" if bar.planned else colour,
        edgecolors="black" if bar.planned else colour,
        linewidth=1.1,
        hatch="///" if is_open and not bar.planned else None,
        alpha=0.5 if is_open or bar.role == "limit" else 1.0,
        zorder=3 if bar.planned else 2,
    )


def _draw_line(axes: Axes, line: Line) -> None:
    fine = line.style == "dotted"
    axes.plot(
        line.xs, line.ys, color=COLOURS[line.role], ls="-" if fine else _STYLES[line.style],
        lw=0.6 if fine else 1.9, label=line.name, zorder=2.5,
    )  # fmt: skip


def _draw_band(axes: Axes, band: Band) -> None:
    colour = COLOURS[band.role]
    axes.fill_between(band.xs, band.low, band.high, color=colour, alpha=0.25, linewidth=0)


def _draw_span(axes: Axes, span: Span) -> None:
    axes.axvspan(span.low, span.high, color=COLOURS[span.role], alpha=0.18, linewidth=0)


def _draw_rule(axes: Axes, rule: Rule) -> None:
    draw = axes.axvline if rule.axis == "x" else axes.axhline
    soft = rule.role in ("soft", "limit")
    draw(
        rule.at,
        color=COLOURS[rule.role],
        ls=_STYLES[rule.style],
        lw=0.9 if soft else 1.6,
        zorder=1.5,
    )


def _draw_dots(axes: Axes, dots: Dots) -> None:
    size = {"dot": 2.0 if len(dots.xs) > 150 else 3.8, "square": 6.5}.get(dots.mark, 10.0)
    axes.plot(
        dots.xs, dots.ys, _MARKS[dots.mark], ms=size, color=COLOURS[dots.role], zorder=4, mew=1.6,
        mfc="none" if dots.mark == "square" else None,
    )  # fmt: skip


def _draw_stems(axes: Axes, stems: Stems) -> None:
    width = 0.8 if len(stems.xs) > 60 else 1.6
    axes.vlines(
        stems.xs, stems.base, stems.tops, color=COLOURS[stems.role], linewidth=width, zorder=1.8
    )


def _draw_arrow(axes: Axes, arrow: Arrow) -> None:
    colour = COLOURS[arrow.role]
    left, right = axes.get_xlim()
    if arrow.end < left or arrow.start > right:
        return
    if arrow.foot is not None:
        axes.plot([arrow.start] * 2, [arrow.y, arrow.foot], color=colour, lw=1, ls=":", zorder=4)
    props = {"arrowstyle": "<->", "color": colour, "lw": 1.3, "shrinkA": 0, "shrinkB": 0}
    axes.annotate(
        "",
        (arrow.end, arrow.y),
        (arrow.start, arrow.y),
        arrowprops=props,
        zorder=5,
        annotation_clip=False,
    ).arrow_patch.set_clip_box(axes.bbox)  # type: ignore[union-attr]


def _leave_out(axes: Axes, shape: Any) -> None:
    """Place notes last, when everything else has its place."""


_DRAW: dict[type[Any], Callable[[Axes, Any], None]] = {
    Bar: _draw_bar, Line: _draw_line, Band: _draw_band, Span: _draw_span, Rule: _draw_rule,
    Dots: _draw_dots, Stems: _draw_stems, Arrow: _draw_arrow,
}  # fmt: skip
