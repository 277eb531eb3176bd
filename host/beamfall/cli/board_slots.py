"""`beamfall board slots`: sequences kept on the board."""

from __future__ import annotations

from contextlib import AbstractContextManager, nullcontext
from pathlib import Path

import typer

from beamfall.board import Board
from beamfall.cli import words
from beamfall.cli.loading import make_app
from beamfall.cli.options import PORT
from beamfall.cli.output import print_json, print_table
from beamfall.cli.targets import check_target
from beamfall.files import write_text
from beamfall.recipes.card import Held
from beamfall.recipes.shelf import Shelf
from beamfall.setup.sequence_file import load_sequence
from beamfall.shots import ShotLog
from beamfall.text import show_text
from beamfall.workflows.slots import list_held, print_card

app = make_app("Sequences stored on the board, for its button.")
SLOT_HELP = "Which slot, from 1."


@app.command("list")
def list_slots(
    port: str | None = PORT,
    as_json: bool = typer.Option(False, "--json", help="One JSON object per slot."),
) -> None:
    """List the slots that hold a sequence, and say which is ready."""
    with Board.connect(port) as board, _open_log() as log:
        most = board.slots().most
        held = list_held(board, Shelf.open(), log)
    if as_json:
        for one in held:
            print_json(
                {
                    "slot": one.slot,
                    "rows": one.rows,
                    "digest": one.digest.hex(),
                    "name": one.name,
                    "recipe": None if one.recipe is None else one.recipe.name,
                    "ready": one.ready,
                    "chosen": one.first,
                }
            )
        return
    if not held:
        print(f"All {most} slots are empty.")
        return
    print_table(
        ("slot", "name", "rows", "digest", ""),
        [
            (str(one.slot), one.name, str(one.rows), one.digest.hex(), _say_state(one))
            for one in held
        ],
        numeric=("slot", "rows"),
    )


def _say_state(held: Held) -> str:
    said = ["ready"] if held.ready else []
    return ", ".join(said + (["loaded at every start"] if held.first else []))


def _open_log() -> AbstractContextManager[ShotLog | None]:
    return ShotLog.open_existing() or nullcontext()


@app.command("card")
def write_card(
    file: Path = typer.Argument(
        ..., help="The card to write, such as card.html; print it from a browser."
    ),
    port: str | None = PORT,
) -> None:
    """Write a card to print: each slot, and what the light shows."""
    check_target(file, "FILE", (".html",))
    shelf = Shelf.open()
    with Board.connect(port) as board, _open_log() as log:
        slots = list_held(board, shelf, log)
        name = board.info.name
    write_text(file, print_card(name, shelf, slots))
    print(f"Written to {show_text(file)}: open it in a browser and print it.")


@app.command("save")
def save_slot(
    slot: int = typer.Argument(..., min=1, help=SLOT_HELP),
    file: Path | None = typer.Option(
        None,
        "--sequence",
        help="Save this sequence file; default: the sequence now ready on the board.",
    ),
    port: str | None = PORT,
) -> None:
    """Save a sequence in a slot; it survives power loss."""
    sequence = load_sequence(file) if file is not None else None
    with Board.connect(port) as board:
        if sequence is not None:
            board.upload(sequence)
            # The button's shots name their table by its digest only.
            with ShotLog.open() as log:
                log.keep_table(sequence.make_table(board.info))
        board.save_slot(slot)
    print(f"Saved in slot {slot}.")
    if board.traits.brings_rig:
        print(words.FORGETS_SLOTS)


@app.command("load")
def load_slot(
    slot: int = typer.Argument(..., min=1, help=SLOT_HELP), port: str | None = PORT
) -> None:
    """Make a slot's sequence ready for the board's button."""
    with Board.connect(port) as board:
        board.load_slot(slot)
        digest = board.status().digest
    print(f"Slot {slot} is ready: {digest.hex()}")


@app.command("erase")
def erase_slot(
    slot: int = typer.Argument(..., min=1, help=SLOT_HELP), port: str | None = PORT
) -> None:
    """Empty a slot."""
    with Board.connect(port) as board:
        board.erase_slot(slot)
    print(f"Slot {slot} is empty.")


@app.command("choose")
def choose_slot(
    slot: int = typer.Argument(..., min=0, help="Which slot, from 1; 0 for none."),
    port: str | None = PORT,
) -> None:
    """Choose the slot that the board loads at every start."""
    with Board.connect(port) as board:
        board.choose_slot(slot)
    print(
        f"The board will load slot {slot} at every start."
        if slot
        else "The board will load no slot when it starts."
    )
