"""`beamfall shots export`: the log for other programs."""

from __future__ import annotations

from pathlib import Path

import typer

from beamfall.cli.open_log import choose_series, open_log
from beamfall.shots.export import export_log
from beamfall.text import show_text


def export(
    out: Path = typer.Option(..., "--out", help="File to write; further files go beside it."),
    kind: str | None = typer.Option(
        None, "--format", help="csv, jsonl or parquet; default: by the file's extension."
    ),
    series: list[int] = typer.Option([], "--series", help="Only this series; may be repeated."),
    shot: list[int] = typer.Option([], "--shot", help="Only this shot; may be repeated."),
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
