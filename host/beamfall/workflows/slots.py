"""Recipes in the slots of a board, for its button: to work without a laptop."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from beamfall.board import Board
from beamfall.errors import RecipeError, SequenceError
from beamfall.recipes.card import Held, make_card
from beamfall.shots import ShotLog
from beamfall.text import say_count
from beamfall.workflows.series import settle_earlier

if TYPE_CHECKING:
    from beamfall.recipes.recipe import Recipe
    from beamfall.recipes.shelf import Shelf


def store_recipe(board: Board, log: ShotLog, recipe: Recipe, slot: int) -> None:
    """Save a recipe's sequence in a slot of the board, and its table in the log.

    Raises RecipeError for a slot that the board does not have, SequenceError for what its limits do not allow.
    """
    table = recipe.sequence.make_table(board.info)
    most = board.slots().most
    if not 1 <= slot <= most:
        raise RecipeError(f"slot {slot}: this board has slots 1 to {most}")
    log.keep_table(table)  # the button's shots name their table by its digest only
    board.upload(table)
    board.save_slot(slot)


def list_held(board: Board, shelf: Shelf, log: ShotLog | None) -> list[Held]:
    """Return the slots that hold something, with what the shelf's recipes and the log say about them."""
    known: dict[bytes, Recipe] = {}
    for one in shelf.list():
        if one.recipe is None:
            continue
        try:
            known[one.recipe.sequence.make_table(board.info).digest] = one.recipe
        except SequenceError:  # beyond this board's limits: then it is in none of its slots
            continue
    slots, ready = board.slots(), board.status().digest
    held = []
    for slot in slots.slots:
        recipe = known.get(slot.digest)
        table = None
        if recipe is None and log is not None:
            table = log.find_table(slot.digest, board.info.clock_hz)
        name = recipe.name if recipe is not None else table.name if table is not None else ""
        held.append(
            Held(
                slot.slot, slot.rows, slot.digest, name, recipe,
                ready=slot.digest == ready, first=slot.slot == slots.chosen,
            )
        )  # fmt: skip
    return held


def print_card(board: str, shelf: Shelf, held: Sequence[Held]) -> str:
    """Return the card of a board as a page to print; the list of slots has recipes without their pictures."""
    whole = [
        one if one.recipe is None else replace(one, recipe=shelf.load(one.name)) for one in held
    ]
    return make_card(board, whole)


@dataclass(frozen=True)
class Fetched:
    """Shots that a board has held: their numbers in the log, and how many it had to forget since it started."""

    shots: tuple[int, ...]
    forgotten: int

    def say(self) -> str:
        """In a sentence or two; empty if the board held nothing."""
        count, said = len(self.shots), []
        if count:
            said.append(f"{say_count(count, 'shot')} fetched from the board into the log.")
        if self.forgotten:
            said.append(f"{self.forgotten} older ones are lost: the board had no room for them.")
        return " ".join(said)


def fetch_shots(board: Board, log: ShotLog) -> Fetched:
    """Bring the shots of the board's button into the log; raises ShotError if the board never stops reporting."""
    return Fetched(tuple(settle_earlier(board, log)), board.status().shots_forgotten)
