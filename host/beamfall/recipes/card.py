"""A card to print for a board that works without a laptop: its slots, its light, what to do."""

from __future__ import annotations

import base64
from collections.abc import Mapping
from pathlib import Path
from string import Template
from typing import TYPE_CHECKING

from beamfall.text import show_html

if TYPE_CHECKING:
    from beamfall.recipes.recipe import Recipe

_PAGE = Path(__file__).with_name("card.html")


def make_card(board: str, slots: Mapping[int, Recipe | None], chosen: int) -> str:
    """Return the card of a board.

    `slots`: those that hold something, with the recipe where it is known. `chosen`: the slot that is loaded at
    every start, 0 for none.
    """
    rows = "".join(
        _make_row(slot, recipe, slot == chosen) for slot, recipe in sorted(slots.items())
    )
    said = (
        f"Switch the board on: slot {chosen} is ready after the start."
        if chosen
        else "No slot is loaded at the start: hold the button for a second to choose one."
    )
    return Template(_PAGE.read_text(encoding="utf-8")).substitute(
        title=show_html(f"Board {board}"),
        slots=rows or "<tr><td>All slots are empty.</td></tr>",
        chosen=said,
    )


def _make_row(slot: int, recipe: Recipe | None, is_chosen: bool) -> str:
    name = "not a recipe of this computer" if recipe is None else recipe.name
    mark = " (at every start)" if is_chosen else ""
    picture = ""
    if recipe is not None and recipe.picture:
        data = base64.b64encode(recipe.picture).decode()
        picture = f'<img alt="" src="data:image/jpeg;base64,{data}">'
    note = "" if recipe is None else " ".join(recipe.label.note.split())[:120]
    return (
        f'<tr><th class="number" scope="row">{slot}</th><td>{picture}</td>'
        f"<td><b>{show_html(name)}</b>{mark}<br>{show_html(note)}</td></tr>"
    )
