"""`beamfall shots`: what was fired and what was measured."""

from __future__ import annotations

from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING

import typer

from beamfall.cli import (
    photographs,
    shots_export,
    shots_fetch,
    shots_keep,
    shots_mend,
    shots_repeat,
)
from beamfall.cli.loading import make_app
from beamfall.cli.numbers import check_whole
from beamfall.cli.open_log import NOTHING_YET, open_log, warn
from beamfall.cli.output import print_json, print_pairs, print_table, say_time
from beamfall.errors import UserError
from beamfall.plot.timeline import draw_timeline
from beamfall.setup.signals import SignalKind
from beamfall.setup.unit_words import format_ticks
from beamfall.shots import ShotLog, find_log
from beamfall.shots.coil_readings import describe_opening
from beamfall.shots.exposure import describe_exposure
from beamfall.shots.record import DAMAGED, UNKNOWN
from beamfall.shots.remarks import list_remarks
from beamfall.text import show_text
from beamfall.workflows.series import WARM_UP

if TYPE_CHECKING:
    from beamfall.shots import LoggedShot, ShotLine

_NOTE_MOST = 30  # characters of a note in a list; `shots show` has all of it

app = make_app("The shot log: list, rate, export, match photographs.")


@app.command("where")
def show_place() -> None:
    """Print the path of the shot log. BEAMFALL_LOG sets another."""

    print(find_log())


@app.command("list")
def list_shots(
    limit: int = typer.Option(
        20, "--limit", min=1, callback=check_whole, help="How many of the newest shots."
    ),
    series: int | None = typer.Option(
        None, "--series", min=1, callback=check_whole, help="Only shots of this series."
    ),
    state: str | None = typer.Option(None, "--state", help="Only shots in this state."),
    as_json: bool = typer.Option(False, "--json", help="One JSON object per shot."),
) -> None:
    """List the newest shots."""

    log = ShotLog.open_existing()
    if log is None:
        if state is not None:
            raise UserError(f"no shot is in state '{state}'; {NOTHING_YET.format(path=find_log())}")
        if not as_json:
            print(show_text(NOTHING_YET.format(path=find_log())))
        return
    log.on_damage = warn
    with log:
        if state is not None:
            states = log.list_states()
            if state not in (*states, DAMAGED):
                known = f"the log has: {', '.join(states)}" if states else "the log is empty"
                raise UserError(f"no shot is in state '{state}'; {known}")
        lines = log.list_shots(limit=limit, series=series, state=state)
        if as_json:
            for line in lines:
                print_json({**asdict(line), "state": line.shown_state})
            return
        print_table(
            (
                "shot",
                "series",
                "time",
                "state",
                "cause",
                "flash after",
                "spacing",
                "rating",
                "photo",
                "note",
                "rig",
                "port",
            ),
            [_describe_line(line) for line in lines],
            numeric=("shot", "series", "spacing", "rating"),
        )
        if series is None and state is None and len(lines) == limit:
            print(show_text(f"{log.count_shots()} shots in {log.path}"))


@app.command("show")
def show_shot(
    shot: int = typer.Argument(..., min=1, callback=check_whole, help="The shot's number."),
    as_json: bool = typer.Option(False, "--json", help="The shot as one JSON object."),
    plot: Path | None = typer.Option(None, "--plot", help="Draw its timeline (PNG)."),
) -> None:
    """Show one shot: plan, measured edges and outcome."""

    with open_log() as log:
        logged = log.read_shot(shot)
    remarks = list_remarks(logged.record, sees_light=logged.sees_light)
    content = {**logged.record.to_json(), "remarks": remarks}
    if plot is not None:
        draw_timeline(content, plot)
    if as_json:
        print_json(content)
    else:
        _print_shot(logged, remarks)
        if plot is not None:
            print(f"\ntimeline drawn in {show_text(plot)}")


app.command("note")(shots_keep.note)
app.command("rate")(shots_keep.rate)
app.command("picture")(shots_keep.picture)
app.command("export")(shots_export.export)
app.command("mend")(shots_mend.mend)
app.command("fetch")(shots_fetch.fetch)
app.command("repeat")(shots_repeat.repeat)
app.command("match")(photographs.match)
app.command("catalogue")(photographs.catalogue)
app.command("sheet")(photographs.sheet)


def _describe_line(line: ShotLine) -> tuple[str, ...]:

    flash = format_ticks(line.flash_delay_ticks, line.clock_hz)
    if line.flash_delay_ticks is not None:
        anchor = f"{line.anchor_beam} edge {line.anchor_count}" if line.anchor_beam else "release"
        flash = f"{anchor} + {flash}"
    return (
        str(line.shot),
        str(line.series),
        "-" if line.state == DAMAGED else say_time(line.begun_us),
        line.shown_state,
        line.cause or "-",
        flash,
        format_ticks(line.spacing_ticks, line.clock_hz),
        "-" if line.rating is None else str(line.rating),
        "-" if line.picture is None else line.picture.replace("\\", "/").split("/")[-1],
        _shorten(line.note) or "-",
        line.rig_name or "-",
        line.port,
    )


def _shorten(note: str) -> str:
    """The beginning of a note, for a table."""
    return note if len(note) <= _NOTE_MOST else f"{note[: _NOTE_MOST - 1]}…"


def _print_shot(logged: LoggedShot, remarks: list[str]) -> None:

    line, record, hz = logged.line, logged.record, logged.record.clock_hz
    state = record.state if record.cause is None else f"{record.state} ({record.cause})"
    if line.shown_state == UNKNOWN:
        state += ": the program ended before the board's report came; it may or may not have fired"
    board = logged.board
    columns = _describe_line(line)
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
            (
                "warm-up",
                "drops before the series, without flash" if WARM_UP in (record.swept or {}) else "",
            ),
            ("flash after", columns[5]),
            ("spacing", columns[6]),
            ("rows late", _say_late(logged)),
            ("edges lost", str(record.counts.get("edges_lost") or "")),
            ("coil", "; ".join(_list_openings(logged))),
            ("rating", "" if line.rating is None else f"{line.rating} of 5"),
            ("note", line.note),
            ("picture", _say_picture(logged)),
            ("exposure", describe_exposure(record)),
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
    opened = [
        edge.ticks
        for edge in record.edges
        if edge.kind is SignalKind.VALVE and edge.edge == "on" and edge.ticks is not None
    ]
    return [describe_opening(one, opened, record.clock_hz) for one in record.readings]


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
