"""`beamfall sequence`: look at a sequence file before a valve opens."""

from __future__ import annotations

from pathlib import Path

import typer

from beamfall.board import Board
from beamfall.cli.loading import make_app
from beamfall.cli.output import print_json, print_pairs, print_table
from beamfall.cli.targets import DRAWINGS, check_target
from beamfall.planning.expected import expect_edges
from beamfall.planning.make import make_plan
from beamfall.plot.draw import draw_chart
from beamfall.plot.sequence import describe_sequence
from beamfall.setup.limits import BoardLimits
from beamfall.setup.rig import load_rig
from beamfall.setup.sequence import Sequence, warn_of_flicker
from beamfall.setup.sequence_file import load_sequence
from beamfall.setup.unit_words import format_duration, format_ticks
from beamfall.text import say_count, show_text

app = make_app("Sequence files: check one before you fire it.")


@app.command("check")
def check_sequence(
    file: Path = typer.Argument(..., help="The sequence file (TOML)."),
    port: str | None = typer.Option(
        None, help="Check against the limits of the board on this port."
    ),
    as_json: bool = typer.Option(False, "--json", help="The table in ticks, as one JSON object."),
    plot: Path | None = typer.Option(
        None, help="Draw it, a lane for each output, with the limits where they apply (PNG)."
    ),
    rig_file: Path | None = typer.Option(
        None,
        "--rig",
        help="Rig file that says when drops reach a beam, for --plot; default: the example rig.",
    ),
) -> None:
    """Check a sequence file against a board's limits.

    It shows the table as the board would run it.

    Without --port the limits are those of the simulated board. Nothing is uploaded or released.
    """
    check_target(plot, "--plot", DRAWINGS)
    sequence = load_sequence(file)
    limits = BoardLimits()
    if port is not None:
        with Board.connect(port) as board:
            limits = BoardLimits.from_welcome(board.info)
    if plot is not None:  # also where it breaks a rule: then it shows where
        _draw(sequence, limits, rig_file, plot)
    table = sequence.make_table_within(limits)
    if as_json:
        print_json({"board": limits.name, "digest": table.digest.hex(), **table.to_dict()})
        return
    hz = table.clock_hz
    waits = [
        f"{say_count(count, 'edge')} ({edge}) of beam{number}"
        for number, (count, edge) in enumerate(zip(table.awaits, table.beam_edges, strict=True), 1)
        if count
    ]
    print_pairs(
        (
            ("sequence", sequence.name),
            ("board", f"{limits.name}, clock {hz / 1e6:g} MHz"),
            ("waits for", " and ".join(waits) or "no beam edge"),
            ("window", format_duration(table.window_ticks / hz) if table.window_ticks else ""),
            (
                "blanking",
                format_duration(table.blanking_ticks / hz) if table.blanking_ticks else "",
            ),
            (
                "dwell",
                f"{format_duration(table.dwell_ticks / hz)} or more" if table.dwell_ticks else "",
            ),
            ("tail", format_duration(table.tail_ticks / hz)),
            ("digest", table.digest.hex()),
        )
    )
    print()
    print_table(
        ("row", "output", "from", "delay", "width", "delay in ticks"),
        [
            (
                str(row.origin + 1),
                row.output,
                row.where,
                format_ticks(row.delay_ticks, hz),
                format_ticks(row.width_ticks, hz),
                str(row.delay_ticks),
            )
            for row in table.rows
        ],
        numeric=("row", "delay", "width", "delay in ticks"),
    )
    fast = warn_of_flicker(sequence.rows)
    if fast:
        print(f"\nCaution: {fast}.")
    if plot is not None:
        print(f"\ndrawn in {show_text(plot)}")
    rows = "its row is" if len(table.rows) == 1 else f"all {len(table.rows)} rows are"
    print(f"\nGood: {rows} within the limits of board '{limits.name}'.")


def _draw(sequence: Sequence, limits: BoardLimits, rig_file: Path | None, plot: Path) -> None:
    plan = make_plan(load_rig(rig_file), traced=True) if any(sequence.awaits) else None
    draw_chart(describe_sequence(sequence, limits, expect_edges(sequence, plan)), plot)
