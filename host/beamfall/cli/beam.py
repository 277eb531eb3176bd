"""`beamfall beam`: a beam live, for aligning it."""

from __future__ import annotations

import sys
import time
from pathlib import Path
from typing import TYPE_CHECKING

import typer

from beamfall.board import Board
from beamfall.cli.beam_view import BeamView
from beamfall.cli.options import OPENING, PORT, RIG, SEED
from beamfall.cli.service import read_opening
from beamfall.errors import UserError
from beamfall.events import EdgesSeen
from beamfall.setup.rig import load_rig
from beamfall.setup.signals import SignalKind
from beamfall.setup.units import parse_quantity
from beamfall.workflows.series import settle_before_unlogged

if TYPE_CHECKING:
    from beamfall.board import Board
    from beamfall.cli.beam_view import BeamView

_LOOK_S = 0.1  # how often the line is rewritten
_ASK_S = 0.5  # how often the board is asked for the beam's state


def beam(
    rig_file: Path | None = RIG,
    port: str | None = PORT,
    number: int = typer.Option(
        1, "--beam", min=1, max=len(SignalKind.BEAM.signals), help="Which beam."
    ),
    drops: bool = typer.Option(
        False,
        "--drops",
        help="Release a drop every two seconds; align the beam for the longest dwell.",
    ),
    valve: int = typer.Option(
        1, "--valve", min=1, max=len(SignalKind.VALVE.signals), help="Which valve, with --drops."
    ),
    opening: str | None = OPENING,
    duration: str | None = typer.Option(
        None, "--for", help="Stop after this time, such as '30 s'; default: until Ctrl-C."
    ),
    quiet: bool = typer.Option(False, "--quiet", help="Do not beep when the beam goes dark."),
    seed: int = SEED,
) -> int:
    """Show a beam live, to align it. Beeps each time it goes dark.

    It shows clear or dark, the number of drops, and the time each was in the beam (dwell). A drop through the
    middle of the beam has the longest dwell. Ctrl-C stops.
    """

    ends_s = (
        float("inf")
        if duration is None
        else parse_quantity(duration, "duration", key="--for", example="10 s")
    )
    if ends_s <= 0.0:
        raise UserError(f'--for = "{duration}": it must be longer than 0 s, such as "10 s"')
    rig = load_rig(rig_file)
    opening_s = read_opening(opening, rig, valve)
    with Board.connect(port, rig=rig, seed=seed) as board:
        settle_before_unlogged(board)
        view = BeamView(number, board.info.clock_hz)
        screen = _Screen(quiet)
        began_s = board.transport.clock()
        pace = _Pace(board)
        try:
            while board.transport.clock() - began_s < ends_s:
                left_s = ends_s - (board.transport.clock() - began_s)
                if drops:
                    outcome = board.drip(valve, opening_s)
                    board.settle()
                    view.begin()
                    view.take(outcome.edges)
                    screen.show(view)
                _watch(board, view, screen, pace, min(left_s, 0.8 if drops else 10.0))
        except KeyboardInterrupt:
            pass  # the usual way to end this command
        board.abort()  # before anything is written: the terminal may be gone
        screen.end(view)
    return 0


def _watch(board: Board, view: BeamView, screen: _Screen, pace: _Pace, seconds: float) -> None:
    """Watch for a while. The watch restarts now and then so that its times stay small."""

    view.begin()
    board.watch(True)
    end_s = board.transport.clock() + seconds
    asked_s = 0.0
    try:
        while (left_s := end_s - board.transport.clock()) > 1e-6:
            for event in board.pump(min(left_s, _LOOK_S)):
                if isinstance(event, EdgesSeen):
                    view.take(event.edges)
            now_s = board.transport.clock()
            if now_s - asked_s >= _ASK_S:
                asked_s = now_s
                view.is_dark = bool(board.status().beams_dark >> (view.number - 1) & 1)
            screen.show(view)
            pace.keep()
    finally:
        board.watch(False)
        for event in board.pump(0.05):
            if isinstance(event, EdgesSeen):
                view.take(event.edges)
        board.take_outcomes()
        board.settle()


class _Pace:
    """Slows a simulated board, whose time passes at once, down to real time."""

    def __init__(self, board: Board) -> None:
        self._board = board
        self._virtual_s = board.transport.clock()
        self._real_s = time.monotonic()

    def keep(self) -> None:
        ahead = (self._board.transport.clock() - self._virtual_s) - (
            time.monotonic() - self._real_s
        )
        if ahead > 0.0:
            time.sleep(min(ahead, 1.0))


class _Screen:
    """One line, rewritten in place on a terminal; in a file, one line per change."""

    def __init__(self, quiet: bool) -> None:
        self._quiet = quiet
        self._live = sys.stdout.isatty()
        self._last = ""

    def show(self, view: BeamView) -> None:
        line = view.describe()
        beep = "\a" if view.beeps and not self._quiet and self._live else ""
        view.beeps = 0
        if line == self._last and not beep:
            return
        self._last = line
        if not self._live:
            print(line, flush=True)
            return
        shown = line.replace("DARK", "\x1b[7mDARK\x1b[0m")
        print(f"{beep}\r\x1b[K{shown}", end="", flush=True)

    def end(self, view: BeamView) -> None:
        if self._live:
            print()
        elif view.describe() != self._last:
            print(view.describe())
