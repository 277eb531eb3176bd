"""`beamfall shots list` and `where`."""

from __future__ import annotations

from dataclasses import asdict

import typer

from beamfall.cli.open_log import NOTHING_YET, warn
from beamfall.cli.options import check_whole
from beamfall.cli.output import print_json, print_table, say_time
from beamfall.errors import UserError
from beamfall.setup.unit_words import format_ticks
from beamfall.shots import ShotLine, ShotLog, find_log
from beamfall.shots.record import DAMAGED
from beamfall.text import show_text

COLUMNS = (
    "shot", "series", "time", "state", "cause", "flash after", "spacing", "rating", "photo", "note", "rig", "port"
)  # fmt: skip
_NOTE_MOST = 30  # characters of a note in a list; `shots show` has all of it


def show_place() -> None:
    """Print the path of the shot log. BEAMFALL_LOG sets another."""
    print(find_log())


def list_shots(
    limit: int = typer.Option(
        20, min=1, callback=check_whole, help="How many of the newest shots."
    ),
    series: int | None = typer.Option(
        None, min=1, callback=check_whole, help="Only shots of this series."
    ),
    state: str | None = typer.Option(None, help="Only shots in this state."),
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
            COLUMNS,
            [describe_line(line) for line in lines],
            numeric=("shot", "series", "spacing", "rating"),
        )
        if series is None and state is None and len(lines) == limit:
            print(show_text(f"{log.count_shots()} shots in {log.path}"))


def describe_line(line: ShotLine) -> tuple[str, ...]:
    """Return a shot's row of the list, as text."""
    flash = format_ticks(line.flash_delay_ticks, line.clock_hz)
    if line.flash_delay_ticks is not None:
        anchor = (
            f"edge {line.anchor_count} of {line.anchor_beam}" if line.anchor_beam else "release"
        )
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
