"""`beamfall learned`: see, undo and reset what seeking and calibrating have shown about a rig."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import typer

from beamfall.cli.loading import make_app
from beamfall.cli.output import print_json, print_table
from beamfall.planning.belief import Belief
from beamfall.planning.history import Timing, list_history
from beamfall.planning.learned import change_learned, find_file, load_learned
from beamfall.setup.rig import load_rig
from beamfall.text import show_text

app = make_app("See, undo or reset what seek and calibrate have learned.")
_RIG = typer.Argument(None, metavar="RIG", help="Rig file (TOML); default: the example rig.")
_BOARD = typer.Option(None, "--board", help="Board by its id; default: the board used last.")


@app.command("show")
def show(
    rig_file: Path | None = _RIG,
    board: str | None = _BOARD,
    as_json: bool = typer.Option(False, "--json", help="One JSON object per step, times in ms."),
) -> None:
    """List each step and the plan it gives."""
    rig = load_rig(rig_file)
    file = find_file(rig_file)
    belief = load_learned(file, board)
    lines = list_history(rig, belief)
    if as_json:
        for line in lines:
            print_json(line.to_json())
        return
    if belief is None:
        print("Nothing learned about this rig yet: plans use the rig file alone.")
    else:
        print(f"{show_text(file)}, board {show_text(belief.board)} on {show_text(belief.port)}\n")
    print_table(
        ("step", "when", "what", "used", "spacing", "flash", "90 % interval"),
        [
            (
                "" if line.step is None else str(line.step.number),
                "" if line.step is None else line.step.when[:16].replace("T", " "),
                line.describe(),
                "yes" if line.used else "no",
                *_say_timing(line.timing),
            )
            for line in lines
        ],
        numeric=("step", "spacing", "flash"),
    )


@app.command("undo")
def undo(rig_file: Path | None = _RIG, board: str | None = _BOARD) -> None:
    """Undo the newest step in use; redo brings it back."""
    _change(rig_file, board, lambda belief: belief.undo())


@app.command("redo")
def redo(rig_file: Path | None = _RIG, board: str | None = _BOARD) -> None:
    """Bring back the step undone last, or a search that was set aside."""
    _change(rig_file, board, lambda belief: belief.redo())


@app.command("reset")
def reset(rig_file: Path | None = _RIG, board: str | None = _BOARD) -> None:
    """Plan from the rig file alone; undo brings the rest back."""
    _change(rig_file, board, lambda belief: belief.reset())


def _change(rig_file: Path | None, board: str | None, change: Callable[[Belief], Belief]) -> None:
    load_rig(rig_file)
    belief = change_learned(rig_file, board, change)
    if not belief.chain:
        print("Plans now use the rig file alone.")
        return
    print("Plans now use:")
    for step in belief.chain:
        print(f"  step {step.number}: {step.describe()}")


def _say_timing(timing: Timing | None) -> tuple[str, str, str]:
    if timing is None:
        return "", "", "no plan"
    spacing = "" if timing.spacing_s is None else f"{timing.spacing_s * 1e3:.2f} ms"
    low, high = timing.flash.p5 * 1e3, timing.flash.p95 * 1e3
    return spacing, f"{timing.flash_delay_s * 1e3:.2f} ms", f"{low:.1f} to {high:.1f} ms"
