"""`beamfall shots show`."""

from __future__ import annotations

from pathlib import Path

import typer

from beamfall.cli.open_log import open_log
from beamfall.cli.options import SHOT
from beamfall.cli.output import print_json, print_pairs, print_table
from beamfall.cli.shots_list import describe_line
from beamfall.cli.targets import DRAWINGS, check_target
from beamfall.plot.draw import draw_chart
from beamfall.plot.timeline import describe_timeline
from beamfall.setup.signals import SignalKind
from beamfall.setup.unit_words import format_ticks
from beamfall.shots import LoggedShot, ShotRecord
from beamfall.shots.coil_readings import describe_opening
from beamfall.shots.describe import describe_purpose
from beamfall.shots.exposure import describe_exposure
from beamfall.shots.pulses import find_times
from beamfall.shots.record import UNKNOWN
from beamfall.shots.remarks import list_remarks
from beamfall.text import show_text


def show_shot(
    shot: int = SHOT,
    as_json: bool = typer.Option(False, "--json", help="The shot as one JSON object."),
    plot: Path | None = typer.Option(None, help="Draw its timeline (PNG)."),
) -> None:
    """Show one shot: plan, measured edges and outcome."""
    check_target(plot, "--plot", DRAWINGS)
    with open_log() as log:
        logged = log.read_shot(shot)
    remarks = list_remarks(logged.record, sees_light=logged.sees_light)
    content = {**logged.record.to_json(), "remarks": remarks}
    if plot is not None:
        draw_chart(describe_timeline(content), plot)
    if as_json:
        print_json(content)
    else:
        _print_shot(logged, remarks)
        if plot is not None:
            print(f"\ntimeline drawn in {show_text(plot)}")


def _print_shot(logged: LoggedShot, remarks: list[str]) -> None:
    line, record, hz = logged.line, logged.record, logged.record.clock_hz
    state = record.state if record.cause is None else f"{record.state} ({record.cause})"
    if line.shown_state == UNKNOWN:
        state += ": the program ended before the board's report came; it may or may not have fired"
    board = logged.board
    columns = describe_line(line)
    print_pairs(
        (
            ("shot", f"{line.shot} (number {line.number} of series {line.series})"),
            ("time", columns[2]),
            ("state", state),
            ("odd", "; ".join(remarks)),
            ("rig", line.rig_name or ""),
            ("board", f"{board['name']} {board['unique_id']}, firmware {board['firmware']}"),
            ("port", line.port),
            ("timing", f"{board['timing']}, clock {hz / 1e6:g} MHz"),
            ("seed", "" if record.seed is None else str(record.seed)),
            ("fired for", describe_purpose(record.swept)),
            ("flash after", columns[5]),
            ("spacing", columns[6]),
            ("rows late", _say_late(logged)),
            ("edges lost", str(record.counts.get("edges_lost") or "")),
            ("coil", "; ".join(_list_openings(logged))),
            ("rating", "" if line.rating is None else f"{line.rating} of 5"),
            ("note", line.note),
            ("picture", _say_picture(logged)),
            ("exposure", describe_exposure(record)),
            ("measured", _say_measured(record)),
            ("keywords", ", ".join(record.keywords)),
        )
    )
    if not record.edges:
        return
    print()
    print_table(
        ("line", "edge", "planned", "measured", "difference", "source"),
        [
            (
                edge.what,
                edge.edge,
                format_ticks(edge.planned_ticks, hz),
                format_ticks(edge.ticks, hz),
                _say_difference(edge.planned_ticks, edge.ticks, hz),
                edge.source if edge.ticks is not None else "not seen",
            )
            for edge in record.edges
        ],
        numeric=("planned", "measured", "difference"),
    )


def _list_openings(logged: LoggedShot) -> list[str]:
    record = logged.record
    opened = find_times(record.edges, SignalKind.VALVE)
    return [describe_opening(one, opened, record.clock_hz) for one in record.readings]


def _say_measured(record: ShotRecord) -> str:
    if record.picture_measured is None:
        return ""
    from beamfall.workflows.picture_reader import describe_logged  # slow to load

    return describe_logged(record)


def _say_picture(logged: LoggedShot) -> str:
    picture, match = logged.record.picture, logged.record.picture_match
    sure = (match or {}).get("probability")
    if picture is None or not isinstance(sure, float):
        return picture or ""
    return f"{picture} (matched, {100 * sure:.2f} % sure)"


def _say_late(logged: LoggedShot) -> str:
    counts, hz = logged.record.counts, logged.record.clock_hz
    if not counts.get("rows_late"):
        return ""
    return f"{counts['rows_late']}, the latest by {counts.get('worst_late_ticks', 0) / hz * 1e6:.3f} µs"


def _say_difference(planned: int | None, measured: int | None, clock_hz: int) -> str:
    if planned is None or measured is None:
        return "-"
    return f"{(measured - planned) / clock_hz * 1e6:+.3f} µs"
