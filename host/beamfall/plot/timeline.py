"""One shot on one time axis: planned against measured, each line of the board a row.

The input is the object that `beamfall shoot --json` prints. The chart is meant for someone who was not
there: it names the rows, writes the dwell of each drop, draws the spacing and the delay from the beam's
edge to the flash as arrows, shows coil current and supply voltage where the board measured them, and says in words
how the shot ended.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from beamfall.plot.coil_rows import CoilRows
from beamfall.plot.lanes import Lane, Mark, find_range, make_lanes, make_marks
from beamfall.plot.scene import (
    Arrow,
    Axis,
    Bar,
    Chart,
    Dots,
    Note,
    Panel,
    Row,
    Rule,
    Shape,
    Stems,
    View,
)
from beamfall.setup.signals import Signal, SignalKind
from beamfall.setup.unit_words import format_duration, format_ms

_LABELS_MAX = 8  # dwells written on one row; more would hide each other
_TOGETHER = 3  # dwells in one label; of more it gives the range
_SOON = 0.09  # share of the time axis within which drops share a label
_NEAR_MS = (20.0, 0.2)  # half the widths of the views around the flash
_ABOVE = 0.42  # an arrow is this far above its row


@dataclass(frozen=True, slots=True)
class Scatter:
    """The measured edges of other shots of a series, in ms by line, shown behind the shot's own."""

    series: int = 0
    shots: int = 0
    lines: Mapping[str, Sequence[float]] = field(default_factory=dict)


def describe_timeline(record: Mapping[str, Any], scatter: Scatter | None = None) -> Chart:
    """Return the timeline of the shot in `record`; times in ms from the release."""
    lanes = make_lanes(record)
    marks = make_marks(record)
    low, high = find_range(lanes, marks)
    coils = CoilRows(record)
    rows = [*(_make_row(lane) for lane in lanes), *coils.list_rows()]
    last = len(rows)
    if marks:
        rows.append(Row("simulated truth", "truth"))
    shapes: list[Shape] = [Rule("soft", "x", 0.0, text="release")]
    for y, lane in enumerate(lanes):
        shapes += _draw_lane(lane, y, scatter or Scatter())
    shapes += _draw_spacing(lanes)
    shapes += _draw_delay(record, lanes)
    for y, lane in enumerate(lanes):
        shapes += _write_lane(lane, y, high - low)
    shapes += coils.list_shapes(len(lanes))
    shapes += _draw_marks(marks, last)
    if not record["edges"]:
        shapes.append(Note("bad", low, 0.0, "no edge was reported for this shot"))
    height = (max(len(rows), 1) - 0.5, -0.75)
    panel = Panel(
        title="",
        x=Axis("ms from the release"),
        y=Axis(""),
        views=(*_list_views(lanes, (low, high), height), *coils.list_views(height)),
        shapes=tuple(shapes),
        rows=tuple(rows),
        said=_say(lanes),
    )
    state, cause = record["state"], record["cause"]
    number = "Shot" if record["shot"] is None else f"Shot {record['shot']}"
    return Chart(
        title=f"{number}: {state}" + (f" ({cause})" if cause else ""),
        subtitle=_describe_plan(record),
        alerts=tuple(record.get("remarks", ())),
        failed=state != "fired",
        panels=((panel,),),
    )


def _list_views(
    lanes: Sequence[Lane], whole: tuple[float, float], y: tuple[float, float]
) -> tuple[View, ...]:
    views = [View("Whole shot", whole, y)]
    flashes = [lane for lane in lanes if lane.kind is SignalKind.FLASH]
    starts = [bar.start for lane in flashes for bar in (*lane.measured, *lane.planned)]
    first = next((start for start in starts if start is not None), None)
    if first is not None:
        views += [View(f"Flash ±{half:g} ms", (first - half, first + half), y) for half in _NEAR_MS]
    return tuple(views)


# -- one row ---------------------------------------------------------------------------------------
def _make_row(lane: Lane) -> Row:
    name = lane.label
    if lane.never_due:
        return Row(name, lane.kind, "never due", alert=True)
    if not lane.measured:
        return Row(name, lane.kind, "not seen" if lane.planned else "none", alert=True)
    if lane.worst_ms is None:
        return Row(name, lane.kind)
    return Row(name, lane.kind, "exact" if lane.worst_ms == 0 else _signed(lane.worst_ms))


def _draw_lane(lane: Lane, y: float, scatter: Scatter) -> Iterator[Shape]:
    others = scatter.lines.get(lane.what)
    if others:
        more = "shot" if scatter.shots == 1 else "shots"
        name = f"{scatter.shots} more {more} of series {scatter.series}"
        yield Stems("soft", tuple(others), y + 0.38, (y - 0.38,) * len(others), name=name)
    for bars, planned, name in (
        (lane.measured, False, "measured"),
        (lane.planned, True, "planned"),
    ):
        for bar in bars:
            is_open = bar.start is None or bar.end is None
            yield Bar(
                lane.kind, y, bar.start, bar.end, planned,
                f"{lane.label}: {_say_ms(bar.start, 'before')} to "
                f"{_say_ms(bar.end, 'unknown')}, {name}",
                f"{name}, one end not seen" if is_open else name,
            )  # fmt: skip


def _say_ms(time: float | None, otherwise: str) -> str:
    return otherwise if time is None else f"{time:.4f} ms"


def _write_lane(lane: Lane, y: float, span: float) -> Iterator[Note]:
    if lane.kind is SignalKind.BEAM:
        yield from _write_dwells(lane, y, span)
    elif lane.never_due:
        yield Note("bad", 0.0, y, "not fired: the beam edge it follows never came")
    elif lane.kind is SignalKind.VALVE:
        for bar in lane.measured or lane.planned:
            if bar.start is not None and bar.end is not None:
                yield Note("ink", bar.end, y, f"{bar.end - bar.start:.4g} ms")


def _write_dwells(lane: Lane, y: float, span: float) -> Iterator[Note]:
    """How long each drop was in the beam; drops close to each other share a label."""
    shown = [
        (number, bar.start, bar.end)
        for number, bar in enumerate(lane.measured[:_LABELS_MAX], 1)
        if bar.start is not None and bar.end is not None
    ]
    if len(lane.measured) > _LABELS_MAX:
        text = f"{len(lane.measured)} times dark; dwell of the first {_LABELS_MAX}"
        yield Note("ink", lane.measured[0].start or 0.0, y - 0.4, text)
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
        yield Note("ink", group[-1][2], y, f"{numbers}: dwell {times} ms")


# -- from one row to another -----------------------------------------------------------------------
def _draw_spacing(lanes: Sequence[Lane]) -> Iterator[Shape]:
    """From the first valve opening to the second."""
    opened = sorted(
        (bar.start, y)
        for y, lane in enumerate(lanes)
        if lane.kind is SignalKind.VALVE
        for bar in lane.measured or lane.planned
        if bar.start is not None
    )
    if len(opened) > 1:
        (first, one), (second, other) = opened[:2]
        text = f"spacing {second - first:.3f} ms"
        yield Arrow("valve", first, second, min(one, other) - _ABOVE, text)


def _draw_delay(record: Mapping[str, Any], lanes: Sequence[Lane]) -> Iterator[Shape]:
    """From the anchor's edge to the flash, with the difference from the planned delay."""
    found = _find_delay(record, lanes)
    if found is None:
        return
    y, base, fired = found
    per_ms = record["clock_hz"] / 1e3
    beam = record["anchor"]["beam"]
    foot = next((n + 0.2 for n, lane in enumerate(lanes) if lane.what == beam), None)
    off = fired - base - record["planned"]["flash_delay_ticks"]
    exact = "exactly as planned" if off == 0 else f"{_signed(off / per_ms)} from plan"
    text = f"delay {(fired - base) / per_ms:.3f} ms, {exact}"
    yield Arrow("flash", base / per_ms, fired / per_ms, y - _ABOVE, text, foot)


def _find_delay(record: Mapping[str, Any], lanes: Sequence[Lane]) -> tuple[int, int, int] | None:
    """The flash that the record's delay is about: its row, and anchor and flash in ticks."""
    asked = record["planned"]["flash_delay_ticks"]
    if asked is None:
        return None
    beam = record["anchor"]["beam"]
    edges = record["edges"]
    starts = [edge["ticks"] for edge in edges if edge["what"] == beam] if beam else [0]
    flashes = {lane.what: y for y, lane in enumerate(lanes) if lane.kind is SignalKind.FLASH}
    for edge in edges:
        if edge["what"] not in flashes or edge["edge"] != "on":
            continue
        if edge["planned_ticks"] is None or edge["ticks"] is None:
            continue
        if edge["planned_ticks"] - asked in starts:
            return flashes[edge["what"]], edge["planned_ticks"] - asked, edge["ticks"]
    return None


def _draw_marks(marks: Sequence[Mark], y: int) -> Iterator[Shape]:
    """What happened at the surface, which only a simulated rig knows."""
    for mark in marks:
        titles = (f"{mark.text} at {mark.time:.3f} ms",)
        if mark.contact:
            yield Dots("flash", (mark.time,), (y,), "star", titles)
        else:
            yield Dots("truth", (mark.time,), (y,), "fall", titles)
    for mark in marks:
        yield Note("ink", mark.time, y, mark.text)


# -- words -----------------------------------------------------------------------------------------
def _signed(ms: float) -> str:
    return f"{'+' if ms > 0 else '−'}{format_duration(abs(ms) / 1e3)}"


def _say(lanes: Sequence[Lane]) -> str:
    parts = []
    for lane in lanes:
        times = ", ".join(_say_ms(bar.start, "before") for bar in lane.measured)
        missing = "never due" if lane.never_due else "not seen"
        parts.append(f"{lane.label}: {times or missing}")
    return "; ".join(parts)


def _describe_plan(record: Mapping[str, Any]) -> str:
    planned, anchor, hz = record["planned"], record["anchor"], record["clock_hz"]
    parts = []
    if planned["flash_delay_ticks"] is not None:
        edge = "the release"
        if anchor["beam"] is not None:
            name = Signal.of(anchor["beam"]).label
            edge = f"{name} turns {anchor['edge']} for the {_ordinal(anchor['count'])} time"
        parts.append(f"planned: flash {format_ms(planned['flash_delay_ticks'] / hz)} after {edge}")
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
