"""`beamfall report`: a series as a page that someone else can read."""

from __future__ import annotations

from pathlib import Path

import typer

from beamfall.cli.open_log import choose_series, open_log
from beamfall.cli.options import SERIES
from beamfall.report import write_report
from beamfall.text import show_text


def report(
    out: Path = typer.Option(..., help="Folder for the page and its charts."),
    series: int | None = SERIES,
) -> None:
    """Write a report of a series as a web page with charts."""
    with open_log() as log:
        written = write_report(log, choose_series(log, series), out)
    print(f"{show_text(written[0])} with {len(written) - 1} charts and pictures beside it")
