"""Recipes in the slots of a board, for its button: to work without a laptop."""

from __future__ import annotations

from typing import TYPE_CHECKING

from beamfall.errors import RecipeError, SequenceError

if TYPE_CHECKING:
    from beamfall.board import Board
    from beamfall.recipes.recipe import Recipe
    from beamfall.recipes.shelf import Shelf
    from beamfall.shots import ShotLog


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


def name_slots(board: Board, shelf: Shelf) -> dict[int, str]:
    """Return which slots hold a recipe of the shelf, by its name."""
    names: dict[bytes, str] = {}
    for one in shelf.list():
        if one.recipe is None:
            continue
        try:
            names[one.recipe.sequence.make_table(board.info).digest] = one.recipe.name
        except SequenceError:  # beyond this board's limits: then it is in none of its slots
            continue
    return {one.slot: names[one.digest] for one in board.slots().slots if one.digest in names}
