"""`beamfall board slots`: sequences kept on the board."""

from __future__ import annotations

from pathlib import Path

import typer

from beamfall.board import Board
from beamfall.cli.loading import make_app
from beamfall.cli.output import print_json, print_table
from beamfall.cli.shoot import PORT_HELP
from beamfall.cli.targets import check_target
from beamfall.files import write_text
from beamfall.recipes.card import make_card
from beamfall.recipes.shelf import Shelf
from beamfall.setup.sequence_file import load_sequence
from beamfall.shots import ShotLog
from beamfall.text import show_text
from beamfall.workflows.slots import find_recipes

app = make_app("Sequences stored on the board, for its button.")
SLOT_HELP = "Which slot, from 1."


@app.command("list")
def list_slots(
    port: str | None = typer.Option(None, "--port", help=PORT_HELP),
    as_json: bool = typer.Option(False, "--json", help="One JSON object per slot."),
) -> None:
    """List the slots that hold a sequence."""

    with Board.connect(port) as board:
        found = board.slots()
        recipes = find_recipes(board, Shelf.open())
    names = {slot: one.name for slot, one in recipes.items() if one is not None}
    if as_json:
        for slot in found.slots:
            print_json(
                {
                    "slot": slot.slot,
                    "rows": slot.rows,
                    "digest": slot.digest.hex(),
                    "recipe": names.get(slot.slot),
                    "chosen": slot.slot == found.chosen,
                }
            )
        return
    if not found.slots:
        print(f"All {found.most} slots are empty.")
        return
    print_table(
        ("slot", "recipe", "rows", "digest", ""),
        [
            (
                str(s.slot),
                names.get(s.slot, ""),
                str(s.rows),
                s.digest.hex(),
                "loaded at every start" if s.slot == found.chosen else "",
            )
            for s in found.slots
        ],
        numeric=("slot", "rows"),
    )


@app.command("card")
def write_card(
    file: Path = typer.Argument(
        ..., help="The card to write, such as card.html; print it from a browser."
    ),
    port: str | None = typer.Option(None, "--port", help=PORT_HELP),
) -> None:
    """Write a card to print: what each slot holds, what the light says, what to do."""
    check_target(file, "FILE", (".html",))
    with Board.connect(port) as board:
        chosen, shelf = board.slots().chosen, Shelf.open()
        recipes = {
            slot: None if one is None else shelf.load(one.name)
            for slot, one in find_recipes(board, shelf).items()
        }
        name = board.info.name
    write_text(file, make_card(name, recipes, chosen))
    print(f"Written to {show_text(file)}: open it in a browser and print it.")


@app.command("save")
def save_slot(
    slot: int = typer.Argument(..., min=1, help=SLOT_HELP),
    file: Path | None = typer.Option(
        None,
        "--sequence",
        help="Save this sequence file; default: the sequence now ready on the board.",
    ),
    port: str | None = typer.Option(None, "--port", help=PORT_HELP),
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


@app.command("load")
def load_slot(
    slot: int = typer.Argument(..., min=1, help=SLOT_HELP),
    port: str | None = typer.Option(None, "--port", help=PORT_HELP),
) -> None:
    """Make a slot's sequence ready for the board's button."""

    with Board.connect(port) as board:
        board.load_slot(slot)
        digest = board.status().digest
    print(f"Slot {slot} is ready: {digest.hex()}")


@app.command("erase")
def erase_slot(
    slot: int = typer.Argument(..., min=1, help=SLOT_HELP),
    port: str | None = typer.Option(None, "--port", help=PORT_HELP),
) -> None:
    """Empty a slot."""

    with Board.connect(port) as board:
        board.erase_slot(slot)
    print(f"Slot {slot} is empty.")


@app.command("choose")
def choose_slot(
    slot: int = typer.Argument(..., min=0, help="Which slot, from 1; 0: none."),
    port: str | None = typer.Option(None, "--port", help=PORT_HELP),
) -> None:
    """Choose the slot that the board loads at every start."""

    with Board.connect(port) as board:
        board.choose_slot(slot)
    print(
        f"The board will load slot {slot} at every start."
        if slot
        else "The board will load no slot when it starts."
    )
