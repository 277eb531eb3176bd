"""One shot on one time axis: planned against measured, each line of the board a lane.

The input is the object that `beamfall shoot --json` prints. The picture is meant for someone who
was not there: it names the lanes, writes the dwell at each drop, draws the spacing and the delay
from the beam's edge to the flash as arrows, and says in words how the shot ended.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from beamfall.errors import UserError
from beamfall.plot.lanes import Bar, Lane, Mark, find_range, make_lanes, make_marks
from beamfall.setup.signals import Signal, SignalKind
from beamfall.setup.units import format_duration, format_ms

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

_LABELS_MAX = 8  # dwell labels on one lane; more would hide each other
_TOGETHER = 3  # dwells of one label; of more it gives the range
_LANE = 0.4  # height of a bar, lanes are 1 apart
_LETTER = 0.0062  # width of a small letter as a share of the axis
_SOON = 0.09  # share of the axis within which two labels would run into each other


def draw_timeline(record: Mapping[str, Any], path: str | Path) -> None:
    """Draw the shot in `record` (an object of `shoot --json`) into `path` (.png, .svg or .pdf).

    Raises UserError where the file cannot be written or its ending is unknown.
    """
    figure = make_timeline(record)
    try:
        figure.savefig(path)
    except OSError as error:
        raise UserError(
            f"{path}: the picture cannot be written: {error.strerror or error}"
        ) from error
    except ValueError as error:  # matplotlib's word for an ending it does not know
        raise UserError(f"{path}: {error}; give a name that ends in .png, .svg or .pdf") from error


def make_timeline(record: Mapping[str, Any]) -> Figure:
    """Return the timeline of the shot in `record` as a matplotlib figure, drawn and not saved."""
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    lanes = make_lanes(record)
    marks = make_marks(record)
    rows = max(len(lanes) + bool(marks), 2)
    figure = Figure(figsize=(12.0, 2.3 + 0.72 * rows), dpi=110, layout="constrained")
    FigureCanvasAgg(figure)
    axes = figure.add_subplot()
    low, high = find_range(lanes, marks)
    axes.set_xlim(low, high)
    for index, lane in enumerate(lanes):
        _draw_lane(axes, lane, -index, high - low)
    _draw_spacing(axes, lanes)
    _draw_delay(axes, record, lanes)
    _draw_marks(axes, marks, -len(lanes))
    _dress(axes, lanes, marks)
    _write_words(axes, record)
    _add_legend(figure)
    return figure


# -- drawing ---------------------------------------------------------------------------------------
def _draw_lane(axes: Axes, lane: Lane, y: float, span: float) -> None:
    least = 0.003 * span  # a flash of 2 ms in a shot of a second would vanish
    for bar in lane.measured:
        start, width, open_end = _place(bar, axes, least)
        axes.broken_barh(
            [(start, width)],
            (y - _LANE / 2, _LANE),
            facecolors=lane.colour,
            edgecolors=lane.colour,
            hatch="///" if open_end else None,
            alpha=0.5 if open_end else 1.0,
            zorder=2,
        )
    for bar in lane.planned:
        start, width, _ = _place(bar, axes, least)
        axes.broken_barh(
            [(start, width)],
            (y - _LANE / 2 - 0.07, _LANE + 0.14),
            facecolors="none",
            edgecolors="black",
            linewidth=1.1,
            zorder=3,
        )
    if lane.kind is SignalKind.BEAM:
        _label_dwell(axes, lane, y, span)
    elif lane.never_due:
        text = "not fired: the beam edge it follows never came"
        axes.text(
            sum(axes.get_xlim()) / 2, y, text, ha="center", va="center", color="#B00020", fontsize=9
        )
    elif lane.kind is SignalKind.VALVE:
        for bar in lane.measured or lane.planned:
            if bar.start is not None and bar.end is not None:
                _note(axes, bar.end, y, f" {bar.end - bar.start:.4g} ms")


def _place(bar: Bar, axes: Axes, least: float) -> tuple[float, float, bool]:
    """Left edge and width of a bar on the axis, and whether one of its ends is not known."""
    low, high = axes.get_xlim()
    start = low if bar.start is None else bar.start
    end = high if bar.end is None else bar.end
    return start, max(end - start, least), bar.start is None or bar.end is None


def _note(axes: Axes, x: float, y: float, text: str) -> None:
    axes.text(x, y, text, va="center", ha="left", fontsize=8, color="#333333", zorder=4)


def _label_dwell(axes: Axes, lane: Lane, y: float, span: float) -> None:
    """Write how long each drop was in the beam; drops close to each other share a label."""
    shown = [
        (number, bar.start, bar.end)
        for number, bar in enumerate(lane.measured[:_LABELS_MAX], 1)
        if bar.start is not None and bar.end is not None
    ]
    while shown:
        near = 1
        while near < len(shown) and shown[near][1] - shown[near - 1][1] < _SOON * span:
            near += 1
        group, shown = shown[:near], shown[near:]
        dwells = [end - start for _, start, end in group]
        if near > _TOGETHER:
            numbers = f"{group[0][0]} to {group[-1][0]}"
            times = f"{min(dwells):.2f} to {max(dwells):.2f}"
        else:
            numbers = " and ".join(str(number) for number, _, _ in group)
            times = " and ".join(f"{dwell:.2f}" for dwell in dwells)
        right = max(group[-1][2], group[-1][1] + 0.003 * span)
        text = f" {numbers}: dwell {times} ms"
        after = lane.measured[group[-1][0] :]
        nearest = axes.get_xlim()[1] if not after or after[0].start is None else after[0].start
        if nearest - right > _LETTER * len(text) * span:
            _note(axes, right, y, text)
        else:  # no room beside it
            axes.text(group[0][1], y + 0.25, text, fontsize=8, va="bottom", color="#333333")
    if len(lane.measured) > _LABELS_MAX:
        text = f"{len(lane.measured)} times dark; dwell of the first {_LABELS_MAX}"
        axes.text(axes.get_xlim()[1], y + 0.3, text, fontsize=8, ha="right", color="#8A6000")


def _draw_spacing(axes: Axes, lanes: Sequence[Lane]) -> None:
    """An arrow from the first valve opening to the second."""
    opened = sorted(
        (bar.start, -index)
        for index, lane in enumerate(lanes)
        if lane.kind is SignalKind.VALVE
        for bar in lane.measured or lane.planned
        if bar.start is not None
    )
    if len(opened) < 2:
        return
    (first, y_first), (second, y_second) = opened[:2]
    y = max(y_first, y_second) + 0.42
    _arrow(axes, first, second, y, f"spacing {second - first:.3f} ms", "#0072B2")


def _draw_delay(axes: Axes, record: Mapping[str, Any], lanes: Sequence[Lane]) -> None:
    """An arrow from the anchor's edge to the flash, with how far it is from what was asked."""
    found = _find_delay(record)
    if found is None:
        return
    flash, base, fired = found
    hz = record["clock_hz"]
    rows = {lane.what: -index for index, lane in enumerate(lanes)}
    beam = record["anchor"]["beam"]
    y = rows[flash] + 0.42
    y_from = rows[beam] - _LANE / 2 if beam else y
    x = base / hz * 1e3
    axes.plot([x, x], [y_from, y], color="#D55E00", lw=1, ls=":", zorder=4)
    off = fired - base - record["planned"]["flash_delay_ticks"]
    exact = "exactly as planned" if off == 0 else f"{_signed(off / hz * 1e3)} from plan"
    text = f"delay {(fired - base) / hz * 1e3:.3f} ms, {exact}"
    _arrow(axes, x, fired / hz * 1e3, y, text, "#D55E00")


def _find_delay(record: Mapping[str, Any]) -> tuple[str, int, int] | None:
    """The flash that the record's delay is about: its lane, and anchor and flash in ticks."""
    asked = record["planned"]["flash_delay_ticks"]
    if asked is None:
        return None
    beam = record["anchor"]["beam"]
    edges = record["edges"]
    starts = [edge["ticks"] for edge in edges if edge["what"] == beam] if beam else [0]
    for edge in edges:
        if Signal.of(edge["what"]).kind is not SignalKind.FLASH or edge["edge"] != "on":
            continue
        if edge["planned_ticks"] is None or edge["ticks"] is None:
            continue
        if edge["planned_ticks"] - asked in starts:
            return edge["what"], edge["planned_ticks"] - asked, edge["ticks"]
    return None


def _draw_marks(axes: Axes, marks: Sequence[Mark], y: float) -> None:
    """What happened at the surface, as only a simulated rig can know it; close ones in rows of their own."""
    low, high = axes.get_xlim()
    offset = 0.012 * (high - low)
    taken: list[float] = []  # by row, how far its last text reaches
    for mark in marks:
        shape, colour = ("*", "#D55E00") if mark.contact else ("v", "#009E73")
        row = next((i for i, end in enumerate(taken) if mark.time - offset > end), len(taken))
        reach = mark.time + 2 * offset + _LETTER * len(mark.text) * (high - low)
        taken[row : row + 1] = [reach]
        at = y + 0.24 - 0.27 * row
        axes.plot([mark.time], [at], shape, ms=10, color=colour, zorder=4)
        inside = reach < high
        axes.text(
            mark.time + offset if inside else mark.time - offset,
            at,
            mark.text,
            ha="left" if inside else "right",
            va="center",
            fontsize=8,
            color="#333333",
        )


def _arrow(axes: Axes, start: float, end: float, y: float, text: str, colour: str) -> None:
    axes.annotate(
        "",
        xy=(end, y),
        xytext=(start, y),
        arrowprops={"arrowstyle": "<->", "color": colour, "lw": 1.3, "shrinkA": 0, "shrinkB": 0},
        zorder=5,
    )
    low, high = axes.get_xlim()
    middle = (start + end) / 2
    place = "center"
    if middle - low < 0.14 * (high - low):
        middle, place = max(start, low) + 0.004 * (high - low), "left"
    elif high - middle < 0.14 * (high - low):
        middle, place = min(end, high), "right"
    axes.text(
        middle,
        y + 0.03,
        text,
        ha=place,
        va="bottom",
        fontsize=9,
        color=colour,
        zorder=6,
        bbox={"facecolor": "white", "edgecolor": "none", "pad": 0.8, "alpha": 0.85},
    )


def _dress(axes: Axes, lanes: Sequence[Lane], marks: Sequence[Mark]) -> None:
    names = [_say_lane(lane) for lane in lanes] + ["surface\n(simulation's truth)"] * bool(marks)
    axes.set_yticks([-index for index in range(len(names))], names)
    for label, lane in zip(axes.get_yticklabels(), lanes, strict=False):
        label.set_color(lane.colour if lane.what[:4] != "beam" else "#8A6000")
        label.set_fontsize(10)
    axes.set_ylim(-max(len(names), 1) + 0.35, 0.85)
    axes.set_xlabel("ms from the release")
    axes.axvline(0.0, color="#777777", lw=1.0, zorder=1)
    axes.text(0.0, 0.82, " release", fontsize=8, color="#555555", va="top")
    axes.grid(axis="x", color="#DDDDDD", lw=0.6, zorder=0)
    axes.set_axisbelow(True)
    for side in ("top", "right", "left"):
        axes.spines[side].set_visible(False)
    axes.tick_params(axis="y", length=0)
    right = axes.secondary_yaxis("right")
    right.set_yticks(
        [-index for index in range(len(lanes))],
        ["" if lane.worst_ms is None else _say_worst(lane.worst_ms) for lane in lanes],
        fontsize=8,
    )
    right.tick_params(length=0)
    right.spines["right"].set_visible(False)


def _add_legend(figure: Figure) -> None:
    from matplotlib.patches import Patch

    figure.legend(
        handles=[
            Patch(facecolor="none", edgecolor="black", label="planned"),
            Patch(facecolor="#777777", label="measured (short ones drawn wider)"),
            Patch(facecolor="#777777", alpha=0.5, hatch="///", label="measured, one end not seen"),
        ],
        loc="outside lower center",
        ncols=3,
        frameon=False,
        fontsize=9,
    )


def _say_lane(lane: Lane) -> str:
    name = lane.label
    if not lane.planned and not lane.measured:
        return f"{name}\nnone"
    return f"{name}\nnot seen" if lane.planned and not lane.measured else name


def _say_worst(worst_ms: float) -> str:
    return "measured =\nplanned" if worst_ms == 0 else f"off by up to\n{_signed(worst_ms)}"


def _signed(ms: float) -> str:
    return f"{'+' if ms > 0 else '−'}{format_duration(abs(ms) / 1e3)}"


def _write_words(axes: Axes, record: Mapping[str, Any]) -> None:
    state, cause = record["state"], record["cause"]
    remarks = record.get("remarks", ())
    number = "Shot" if record["shot"] is None else f"Shot {record['shot']}"
    axes.set_title(
        f"{number}: {state}" + (f" ({cause})" if cause else ""),
        fontsize=15,
        fontweight="bold",
        loc="left",
        pad=26 + (16 if remarks else 0),
        color="black" if state == "fired" else "#B00020",
    )
    if remarks:
        axes.annotate(
            "; ".join(remarks),
            xy=(0.0, 1.0),
            xycoords="axes fraction",
            xytext=(0, 24),
            textcoords="offset points",
            fontsize=10,
            color="#B00020",
        )
    axes.annotate(
        _describe_plan(record),
        xy=(0.0, 1.0),
        xycoords="axes fraction",
        xytext=(0, 8),
        textcoords="offset points",
        fontsize=10,
        color="#333333",
    )
    if not record["edges"]:
        axes.text(
            0.5,
            0.5,
            "no edge was reported for this shot",
            transform=axes.transAxes,
            ha="center",
            color="#B00020",
        )


def _describe_plan(record: Mapping[str, Any]) -> str:
    planned, anchor, hz = record["planned"], record["anchor"], record["clock_hz"]
    parts = []
    if planned["flash_delay_ticks"] is not None:
        edge = "the release"
        if anchor["beam"] is not None:
            name = Signal.of(anchor["beam"]).label
            edge = f"{name} turns {anchor['edge']} for the {_ordinal(anchor['count'])} time"
        parts.append(f"asked: flash {format_ms(planned['flash_delay_ticks'] / hz)} after {edge}")
    if planned["spacing_ticks"] is not None:
        parts.append(f"drops {format_ms(planned['spacing_ticks'] / hz)} apart")
    timing = f"timing: {record['timing']}"
    if record["timing"] == "simulated":
        timing += " (virtual time, no hardware)"
    parts.append(timing)
    if record["seed"] is not None:
        parts.append(f"seed {record['seed']}")
    return " · ".join(parts)


def _ordinal(number: int) -> str:
    endings = {1: "st", 2: "nd", 3: "rd"}
    ending = "th" if 10 <= number % 100 <= 20 else endings.get(number % 10, "th")
    return f"{number}{ending}"
