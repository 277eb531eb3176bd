"""`beamfall drip`, `rinse` and `flash`: one drop, a purge of the valve, one flash."""

from __future__ import annotations

import sys
from typing import TYPE_CHECKING

import typer

from beamfall.cli.numbers import WHOLE_MOST
from beamfall.cli.open_log import settle_earlier
from beamfall.cli.shoot import PORT_HELP

if TYPE_CHECKING:
    from beamfall.board import Board
    from beamfall.events import Outcome


def drip(
    port: str | None = typer.Option(None, "--port", help=PORT_HELP),
    valve: int = typer.Option(1, "--valve", min=1, max=3, help="Which valve."),
    opening: str = typer.Option("13 ms", "--opening", help="How long it opens, with its unit."),
    seed: int = typer.Option(
        0, "--seed", min=0, max=WHOLE_MOST, help="All chance of a simulated rig."
    ),
) -> int:
    """Let one single drop fall and say what the beam saw of it."""
    from beamfall.setup.units import parse_quantity

    seconds = parse_quantity(opening, "duration", key="--opening")
    with _connect(port, seed) as board:
        outcome = board.drip(valve, seconds)
        _print_edges(board, outcome)
        board.settle()
    seen = any(edge.signal.kind == "beam" for edge in outcome.edges)
    print(
        "The beam saw a drop."
        if seen
        else "Nothing crossed the beam: `beamfall check` finds out why."
    )
    return 0 if seen else 1


def rinse(
    port: str | None = typer.Option(None, "--port", help=PORT_HELP),
    valve: int = typer.Option(1, "--valve", min=1, max=3, help="Which valve."),
    duration: str = typer.Option(
        "2 s", "--duration", help="How long it stays open, with its unit."
    ),
    yes: bool = typer.Option(False, "--yes", help="Do not ask first."),
    seed: int = typer.Option(
        0, "--seed", min=0, max=WHOLE_MOST, help="All chance of a simulated rig."
    ),
) -> int:
    """Hold a valve open to fill or rinse it. Put a container under it first.

    The coil warms while it is held; the board limits how long and makes it rest afterwards.
    """
    from beamfall.setup.units import parse_quantity

    seconds = parse_quantity(duration, "duration", key="--duration")

    def confirm(length_s: float) -> bool:
        question = f"Valve {valve} will stay open for {length_s:g} s. Is a container under it?"
        return yes or typer.confirm(question)

    with _connect(port, seed) as board:
        outcome = board.rinse(valve, seconds, confirm)
        if outcome is None:
            print("Nothing was opened.")
            return 1
        _print_edges(board, outcome)
        board.settle()
    return 0


def flash(
    port: str | None = typer.Option(None, "--port", help=PORT_HELP),
    number: int = typer.Option(1, "--flash", min=1, max=3, help="Which flash."),
    contact: str = typer.Option(
        "2 ms", "--contact", help="How long its contact closes, with its unit."
    ),
    seed: int = typer.Option(
        0, "--seed", min=0, max=WHOLE_MOST, help="All chance of a simulated rig."
    ),
) -> int:
    """Fire a flash once. Warn people first: flashes can trigger photosensitive epilepsy."""
    from beamfall.setup.units import parse_quantity

    seconds = parse_quantity(contact, "duration", key="--contact")
    print(
        "Caution: a flash is about to fire. Flashes can trigger photosensitive epilepsy: warn "
        "everybody in the room.",
        file=sys.stderr,
    )
    with _connect(port, seed) as board:
        outcome = board.test_flash(number, seconds)
        _print_edges(board, outcome)
        board.settle()
        has_sensor = board.info.has_input(11)
    if any(edge.signal.name == "light1" and edge.level for edge in outcome.edges):
        print("The light was seen.")
    elif has_sensor:
        print("The contact closed, but the flash-seen sensor saw no light. Did you see the flash?")
    return 0


def _connect(port: str | None, seed: int) -> Board:
    from beamfall.board import Board

    board = Board.connect(port, seed=seed)
    try:
        settle_earlier(board)
    except BaseException:
        board.close()
        raise
    return board


def _print_edges(board: Board, outcome: Outcome) -> None:
    from beamfall.cli.output import print_table
    from beamfall.setup.units import format_ticks

    print_table(
        ("line", "edge", "time"),
        [
            (edge.signal.name, edge.word, format_ticks(edge.ticks, board.info.clock_hz))
            for edge in outcome.edges
        ],
        numeric=("time",),
    )
