"""`beamfall shots note`, `rate`, `picture`, `fetch`, `export` and `mend`: what goes into the log and out of it."""

from __future__ import annotations

from pathlib import Path

import typer

from beamfall.board import Board
from beamfall.cli.open_log import choose_series, open_log
from beamfall.cli.options import JSON_ONE, PORT, SHOT
from beamfall.cli.output import print_json, print_table
from beamfall.errors import UserError
from beamfall.shots import ShotLog, find_log
from beamfall.shots.export import export_log
from beamfall.shots.mend import mend_log
from beamfall.text import list_first, show_text
from beamfall.workflows.slots import fetch_shots


def note(
    shot: int = SHOT, text: str = typer.Argument(..., help="The note; '' removes it.")
) -> None:
    """Write a shot's note, replacing any earlier one."""
    with open_log(to_write=True) as log:
        log.set_note(shot, text)
    print(f"shot {shot}: {'noted' if text else 'note removed'}")


def rate(
    shot: int = SHOT,
    rating: int = typer.Argument(
        ..., help="1 (not worth keeping) to 5 (the one); 0 removes the rating."
    ),
) -> None:
    """Rate a shot's picture from 1 to 5."""
    with open_log(to_write=True) as log:
        log.set_rating(shot, rating or None)
    print(f"shot {shot}: {f'rated {rating} of 5' if rating else 'rating removed'}")


def picture(
    shot: int = SHOT, file: str = typer.Argument(..., help="The photograph; '' removes the link.")
) -> None:
    """Link a photograph to a shot. For a whole folder: shots match."""
    path = Path(file).expanduser()
    if file and not path.is_file():
        raise UserError(f"{file}: no such file; check the path")
    with open_log(to_write=True) as log:
        log.set_picture(shot, str(path.resolve()) if file else None)
    print(f"shot {shot}: {f'its picture is {show_text(path.name)}' if file else 'picture removed'}")


def fetch(port: str | None = PORT, as_json: bool = JSON_ONE) -> None:
    """Fetch and log the shots that the board's button has fired.

    The board keeps the newest shots, as many as its memory holds, until it is switched off. Every command that fires
    fetches them first.
    """
    with ShotLog.open() as log, Board.connect(port) as board:
        fetched = fetch_shots(board, log)
        records = [log.read_shot(shot).record for shot in fetched.shots]
    if as_json:
        print_json(
            {
                "shots": list(fetched.shots),
                "edges": [len(one.edges) for one in records],
                "edges_missing": [one.counts.get("edges_missing", 0) for one in records],
                "forgotten": fetched.forgotten,
            }
        )
        return
    if records:
        print_table(
            ("shot", "state", "edges", "lost edges"),
            [
                (
                    str(one.shot),
                    one.shown_state,
                    str(sum(edge.ticks is not None for edge in one.edges)),
                    str(one.counts.get("edges_missing") or ""),
                )
                for one in records
            ],
            numeric=("shot", "edges", "lost edges"),
        )
    print(fetched.say() or "Nothing to fetch: every shot on the board is in the log already.")


def export(
    out: Path = typer.Option(..., help="File to write; further files go beside it."),
    kind: str | None = typer.Option(
        None, "--format", help="csv, jsonl or parquet; default: by the file's extension."
    ),
    series: list[int] = typer.Option([], help="Only this series; may be repeated."),
    shot: list[int] = typer.Option([], help="Only this shot; may be repeated."),
) -> None:
    """Write all edges and settings to files.

    A data dictionary explains every column."""
    with open_log() as log:
        for one in series:
            choose_series(log, one)
        for one in shot:
            log.read_shot(one)
        chosen = kind if kind is not None else out.suffix.removeprefix(".").lower() or "csv"
        written = export_log(log, out, chosen, series=series, shots=shot)
    print(f"{written.shots} shots with {written.edges} edges written:")
    for file in written.files:
        print(f"  {show_text(file)}")


_NAMED_MOST = 20


def mend(
    out: Path | None = typer.Option(
        None, help="Write the new log here and leave the old one where it is."
    ),
) -> None:
    """Rescue the intact shots of a damaged log.

    Without --out the new log replaces a damaged one, which is kept beside it as `...-damaged`.
    First close other programs that use the log.
    """
    path = find_log()
    if out is not None and out.exists():
        raise UserError(f"{out} already exists: choose another name")
    mended = mend_log(path, out)
    if mended.kept == mended.file:
        print(
            show_text(
                f"Nothing is wrong with {mended.file}, which holds {mended.shots} shots: it was not changed"
            )
        )
        return
    print(show_text(f"{mended.shots} shots saved in {mended.file}; the old log is {mended.kept}"))
    if not mended.lost:
        print("Nothing was lost.")
        return
    print(f"Lost: {list_first(mended.lost, _NAMED_MOST)}")
