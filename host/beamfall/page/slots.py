"""What the board's slots hold, on the page: recipes for its button, to work without a laptop."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any

from beamfall.errors import UserError
from beamfall.page.hub import clean
from beamfall.page.work import Job, Work
from beamfall.recipes.card import Held
from beamfall.recipes.recipe import Recipe
from beamfall.recipes.shelf import Shelf
from beamfall.workflows.slots import list_held, store_recipe


def make_slots(what: str, slot: int) -> Job:
    """Read the slots, after a change of one: `read`, `choose`, `load` or `erase`."""
    changes: dict[str, tuple[str, Callable[[Work], None] | None]] = {
        "read": ("Reading the slots", None),
        "choose": ("Choosing a slot", lambda work: work.board.choose_slot(slot)),
        "load": (f"Getting slot {slot} ready", lambda work: work.board.load_slot(slot)),
        "erase": (f"Emptying slot {slot}", lambda work: work.board.erase_slot(slot)),
    }
    if what not in changes:
        raise UserError(f"board_slots: {what[:40]!a} is not an action")
    return _make(*changes[what])


def make_store(recipe: Recipe, slot: int) -> Job:
    """Save a recipe in a slot."""
    return _make(
        f"Storing {recipe.name} in slot {slot}",
        lambda work: store_recipe(work.board, work.log, recipe, slot),
    )


def _make(title: str, change: Callable[[Work], None] | None) -> Job:
    def run(work: Work) -> None:
        if change is not None:
            work.bench.disarm()  # what a press fires is another sequence now
            change(work)
        most = work.board.slots().most
        held = list_held(work.board, Shelf.open(work.log.path), work.log)
        work.bench.held = tuple(held)
        work.hub.set(slots=describe_slots(most, held))
        work.tell(text="")

    return Job("slots", title, run)


def describe_slots(most: int, held: Sequence[Held]) -> dict[str, Any]:
    """All slots of the board: the name of each one's content, and when a press fires it."""
    names = ("slot", "name", "rows", "ready", "first")
    filled = {one.slot: {name: getattr(one, name) for name in names} for one in held}
    slots = [filled.get(number, {"slot": number, "name": None}) for number in range(1, most + 1)]
    content: dict[str, Any] = clean({"slots": slots})
    return content
