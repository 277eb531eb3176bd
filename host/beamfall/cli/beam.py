"""`beamfall beam`: a beam live, for aligning it."""

from __future__ import annotations

import contextlib
import math
import sys
import time
from pathlib import Path
from typing import Any

import typer

from beamfall.board import Board
from beamfall.cli.front import Terminal
from beamfall.cli.options import OPENING, PORT, RIG, SEED, read_optional
from beamfall.cli.service import read_opening
from beamfall.cli.words import say_beam
from beamfall.errors import UserError
from beamfall.setup.rig import load_rig
from beamfall.setup.signals import SignalKind
from beamfall.workflows.run import run
from beamfall.workflows.series import settle_before_unlogged
from beamfall.workflows.steps import Question
from beamfall.workflows.watch import STOP, BeamView, EnoughSeen, watch

_LOOK_S = 0.1  # how often the line is rewritten


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
        1, min=1, max=len(SignalKind.VALVE.signals), help="Which valve, with --drops."
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
    ends_s = read_optional(duration, "duration", key="--for", example="10 s")
    if ends_s is not None and ends_s <= 0.0:
        raise UserError(f'--for = "{duration}": it must be longer than 0 s, such as "10 s"')
    rig = load_rig(rig_file)
    drop = (valve, read_opening(opening, rig, valve)) if drops else None
    with Board.connect(port, rig=rig, seed=seed) as board:
        settle_before_unlogged(board)
        terminal = BeamTerminal(board, math.inf if ends_s is None else ends_s, beeps=not quiet)
        with contextlib.suppress(KeyboardInterrupt):  # the usual way to end this command
            run(watch(board, number, drop), board, None, terminal)
        terminal.end()
    return 0


class BeamTerminal(Terminal):
    """Shows a beam on one line, rewritten in place on a terminal; in a file, one line per change."""

    def __init__(self, board: Board, ends_s: float, *, beeps: bool) -> None:
        super().__init__()
        self._clock = board.transport.clock
        self._ends_s = self._clock() + ends_s
        self._beeps = beeps
        self._live = sys.stdout.isatty()
        self._last = ""
        self._count = 0
        self._view: BeamView | None = None

    def ask(self, question: Question[Any], problem: str) -> str:
        assert isinstance(question, EnoughSeen)
        self._view = question.view
        ahead_s = self._clock() - time.monotonic()
        while (left_s := self._ends_s - self._clock()) > 1e-6:
            question.listen(min(left_s, _LOOK_S))
            self._show()
            # A simulated board's time passes at once: slowed down to real time.
            time.sleep(max(0.0, min(self._clock() - time.monotonic() - ahead_s, 1.0)))
        return STOP

    def end(self) -> None:
        """Show what came last."""
        if self._live:
            print()
        elif self._view is not None:
            self._show()

    def _show(self) -> None:
        assert self._view is not None
        line = say_beam(self._view)
        beep = "\a" if self._view.count > self._count and self._beeps and self._live else ""
        self._count = self._view.count
        if line == self._last and not beep:
            return
        self._last = line
        if not self._live:
            print(line, flush=True)
            return
        shown = line.replace("DARK", "\x1b[7mDARK\x1b[0m")
        print(f"{beep}\r\x1b[K{shown}", end="", flush=True)
