"""`beamfall drip`, `rinse` and `flash`: one drop, a purge of the valve, one flash."""

from __future__ import annotations

import contextlib
from collections.abc import Iterator
from pathlib import Path

import typer

from beamfall.board import Board
from beamfall.cli.front import Terminal
from beamfall.cli.options import OPENING, PORT, RIG, SEED, read_optional
from beamfall.cli.output import print_table
from beamfall.cli.words import say_dripped, say_flashed
from beamfall.events import Outcome
from beamfall.setup.rig import Rig, load_rig
from beamfall.setup.signals import SignalKind
from beamfall.setup.unit_words import format_ticks
from beamfall.setup.units import parse_quantity
from beamfall.shots.coil_readings import describe_opening
from beamfall.shots.pulses import find_times
from beamfall.workflows import service
from beamfall.workflows.run import PythonFrontEnd, run
from beamfall.workflows.series import settle_before_unlogged
from beamfall.workflows.steps import FrontEnd


def drip(
    rig_file: Path | None = RIG,
    port: str | None = PORT,
    valve: int = typer.Option(1, min=1, max=len(SignalKind.VALVE.signals), help="Which valve."),
    opening: str | None = OPENING,
    seed: int = SEED,
) -> int:
    """Release one drop and show what the beam saw."""
    rig = load_rig(rig_file)
    opening_s = read_opening(opening, rig, valve)
    with _connect(port, seed, rig) as board:
        done = run(service.drip(rig, board.info, valve, opening_s), board, None, Terminal())
        _print_edges(board, done.outcome)
    print(say_dripped(done))
    return 1 if done.crossed_s is None else 0


def read_opening(given: str | None, rig: Rig, valve: int) -> float:
    """Return for how long a valve opens, in s: as typed after --opening, else as the rig file says."""
    if given is None:
        return service.find_opening(rig, valve)
    return parse_quantity(given, "duration", key="--opening", example="13 ms")


def rinse(
    port: str | None = PORT,
    valve: int = typer.Option(1, min=1, max=len(SignalKind.VALVE.signals), help="Which valve."),
    duration: str = typer.Option("2 s", help="How long it stays open, such as '2 s'."),
    yes: bool = typer.Option(False, "--yes", help="Do not ask first."),
    seed: int = SEED,
) -> int:
    """Hold a valve open to fill or rinse it. Put a container under it first.

    The coil warms up meanwhile. The board limits the time, then makes the valve rest.
    """
    seconds = parse_quantity(duration, "duration", key="--duration", example="2 s")
    front_end: FrontEnd = PythonFrontEnd(lambda question: "yes") if yes else Terminal()
    with _connect(port, seed) as board:
        outcome = run(service.rinse(valve, seconds), board, None, front_end)
        if outcome is None:
            print("Nothing was opened.")
            return 1
        _print_edges(board, outcome)
    return 0


def flash(
    rig_file: Path | None = RIG,
    port: str | None = PORT,
    number: int = typer.Option(
        1, "--flash", min=1, max=len(SignalKind.FLASH.signals), help="Which flash."
    ),
    contact: str | None = typer.Option(
        None, help="How long its contact closes, such as '2 ms'; default: the rig file's contact."
    ),
    seed: int = SEED,
) -> int:
    """Fire a flash once. Warn people first: flashes can trigger photosensitive epilepsy."""
    rig = load_rig(rig_file)
    contact_s = read_optional(contact, "duration", key="--contact", example="2 ms")
    with _connect(port, seed, rig) as board:
        done = run(service.flash_once(rig, board.info, number, contact_s), board, None, Terminal())
        _print_edges(board, done.outcome)
    text = say_flashed(done)
    if text:
        print(text)
    return 0


@contextlib.contextmanager
def _connect(port: str | None, seed: int, rig: Rig | None = None) -> Iterator[Board]:
    with Board.connect(port, rig=rig, seed=seed) as board:
        settle_before_unlogged(board)
        yield board


def _print_edges(board: Board, outcome: Outcome) -> None:
    print_table(
        ("line", "edge", "time"),
        [
            (edge.signal.name, edge.word, format_ticks(edge.ticks, board.info.clock_hz))
            for edge in outcome.edges
        ],
        numeric=("time",),
    )
    opened = find_times(outcome.edges, SignalKind.VALVE)
    for readings in outcome.readings:
        print(f"coil: {describe_opening(readings, opened, board.info.clock_hz)}")
