"""A sequence before it is fired: one lane per output, anchors as arrows, and the board's limits where they apply."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence

from beamfall.plot.scene import Arrow, Axis, Bar, Chart, Dots, Note, Panel, Row, Rule, Shape, View
from beamfall.setup.limits import BoardLimits, Problem, find_problems
from beamfall.setup.sequence import Row as SequenceRow
from beamfall.setup.sequence import Sequence as Shot
from beamfall.setup.signals import Signal, SignalKind
from beamfall.setup.table import BEAMS, TickRow
from beamfall.setup.unit_words import format_duration

ExpectedEdges = Mapping[str, Sequence[float]]
_ABOVE = 0.42  # an arrow is this far above its row
_CLOSE_MS = 20.0  # half the width of the view around the flash
# A broken rule in a word or two, by the reason that the board would give.
_WORDS = {
    "overlap": "too close", "flash_spacing": "too close", "duty": "open too long", "width_too_long": "too long",
    "beyond_horizon": "too late", "window_missing": "no window", "zero_width": "no width", "bad_anchor": "wrong anchor",
    "bad_output": "no such output",
}  # fmt: skip


def find_start(row: SequenceRow, edges: ExpectedEdges) -> float:
    """When a row begins, in s from the release, if the beam edges come as expected."""
    if row.anchor == "release":
        return row.delay_s
    expected = edges.get(row.anchor, ())
    return row.delay_s + (expected[row.count - 1] if row.count <= len(expected) else 0.0)


def describe_sequence(shot: Shot, limits: BoardLimits, edges: ExpectedEdges) -> Chart:
    """Return the chart of a sequence on a board with these limits, in ms from the release.

    `edges`: when each beam's counted edges are expected, in s from the release. A bar's `handle` is its row's place
    in the sequence, from 0.
    """
    table = shot.to_table(limits.clock_hz)
    problems = find_problems(table, limits)
    wrong = {one.row - 1: one for one in reversed(problems) if one.row is not None}
    used = {row.output for row in shot.rows} | {beam for beam in BEAMS if edges.get(beam)}
    lines = [Signal.of(name) for kind in SignalKind for name in kind.names if name in used]
    places = {line.name: y for y, line in enumerate(lines)}
    ticks = {row.origin: row for row in table.rows}
    starts = [1e3 * find_start(row, edges) for row in shot.rows]
    shapes: list[Shape] = [Rule("soft", "x", 0.0, text="release")]
    for index, row in enumerate(shot.rows):
        shapes += _draw_rest(ticks[index], limits, starts[index], places[row.output])
    for index, row in enumerate(shot.rows):
        shapes += _draw_row(row, index, starts[index], places[row.output], wrong.get(index))
        if row.anchor != "release":
            shapes.append(_draw_anchor(row, starts[index], places))
    shapes += _draw_edges(edges, places)
    ends = (start + 1e3 * row.width_s for start, row in zip(starts, shot.rows, strict=True))
    end = max(ends, default=1.0)
    panel = Panel(
        title="",
        x=Axis("ms from the release"),
        y=Axis(""),
        views=_list_views(shot, edges, end, (max(len(lines), 1) - 0.5, -0.75)),
        shapes=tuple(shapes),
        rows=tuple(_make_lane(line, shot, edges, limits, wrong) for line in lines),
        said=_say(shot),
    )
    return Chart(
        title=shot.name or "Sequence",
        subtitle=f"limits of board '{limits.name}'",
        alerts=tuple(one.text for one in problems),
        failed=bool(problems),
        panels=((panel,),),
    )


def _list_views(
    shot: Shot, edges: ExpectedEdges, end: float, y: tuple[float, float]
) -> tuple[View, ...]:
    margin = 0.03 * max(end, 1.0)
    views = [View("Whole shot", (-margin, max(end, 1.0) + margin), y)]
    flash = shot.flash_row()
    if flash is not None:
        at = 1e3 * find_start(flash, edges)
        views.append(View(f"Flash ±{_CLOSE_MS:g} ms", (at - _CLOSE_MS, at + _CLOSE_MS), y))
    return tuple(views)


def _make_lane(
    line: Signal,
    shot: Shot,
    edges: ExpectedEdges,
    limits: BoardLimits,
    wrong: Mapping[int, Problem],
) -> Row:
    """A lane, with remarks at its right end."""
    if line.name in edges:
        return Row(line.label, line.kind, "expected")
    rows = [index for index, row in enumerate(shot.rows) if row.output == line.name]
    found = next((wrong[index] for index in rows if index in wrong), None)
    if found is not None:
        return Row(line.label, line.kind, _shorten(found), alert=True)
    if line.kind is SignalKind.VALVE:
        open_s = sum(shot.rows[index].width_s for index in rows)
        return Row(line.label, line.kind, f"open {format_duration(open_s)}")
    return Row(line.label, line.kind)


def _shorten(problem: Problem) -> str:
    """A broken rule in a word or two; the whole sentence is in the chart's alerts."""
    return _WORDS.get(problem.reason, problem.reason.replace("_", " "))


def _draw_row(
    row: SequenceRow, index: int, start: float, y: int, problem: Problem | None
) -> Iterator[Shape]:
    end = start + 1e3 * row.width_s
    title = f"row {index + 1}, {_say_row(row)}"
    if problem is not None:
        yield Bar("bad", y, start, end, title=f"{title}. {problem.text}", handle=index)
        yield Note("bad", end, y, _shorten(problem))
        return
    yield Bar(row.kind, y, start, end, title=title, handle=index)
    yield Note("ink", end, y, format_duration(row.width_s))


def _draw_rest(row: TickRow, limits: BoardLimits, start: float, y: int) -> Iterator[Bar]:
    """After a row, the time during which the board keeps its output off."""
    per_ms = limits.clock_hz / 1e3
    free = start + limits.find_free(row) / per_ms
    end = start + row.width_ticks / per_ms
    if row.kind is not SignalKind.CAMERA and free > end:
        title = f"{Signal.of(row.output).label} must stay off until {free:.3f} ms"
        yield Bar("limit", y, end, free, title=title, name="must stay off")


def _draw_anchor(row: SequenceRow, start: float, places: Mapping[str, int]) -> Arrow:
    edge = start - 1e3 * row.delay_s
    text = f"{format_duration(row.delay_s)} after edge {row.count}"
    foot = places[row.anchor] + 0.2 if row.anchor in places else None
    return Arrow(row.kind, edge, start, places[row.output] - _ABOVE, text, foot)


def _draw_edges(edges: ExpectedEdges, places: Mapping[str, int]) -> Iterator[Dots]:
    for beam, expected in edges.items():
        times = tuple(1e3 * one for one in expected)
        titles = tuple(
            f"{Signal.of(beam).label}, edge {n}: expected at {time:.0f} ms"
            for n, time in enumerate(times, 1)
        )
        if times:
            yield Dots(
                "beam", times, (float(places[beam]),) * len(times), "fall", titles, "edge of the beam, expected"
            )  # fmt: skip


def _say(shot: Shot) -> str:
    return "; ".join(_say_row(row) for row in shot.rows)


def _say_row(row: SequenceRow) -> str:
    when = f"{row.where} + {format_duration(row.delay_s)}"
    return f"{Signal.of(row.output).label}: {when}, for {format_duration(row.width_s)}"
