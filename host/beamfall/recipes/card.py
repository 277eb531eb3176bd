"""A card to print for a board that works without a laptop: its slots, its light, what to do."""

from __future__ import annotations

import base64
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from string import Template
from typing import TYPE_CHECKING

from beamfall.text import show_html

if TYPE_CHECKING:
    from beamfall.recipes.recipe import Recipe

_PAGE = Path(__file__).with_name("card.html")


@dataclass(frozen=True)
class Held:
    """A slot that holds a sequence. `name`: of its recipe, or else of its sequence; empty if it is unknown here.

    `ready`: a press of the board's button fires it now. `first`: the board loads it at every start.
    """

    slot: int
    rows: int
    digest: bytes
    name: str
    recipe: Recipe | None
    ready: bool
    first: bool


def make_card(board: str, slots: Sequence[Held]) -> str:
    """Return the card of a board, from the slots that hold something."""
    first = next((one.slot for one in slots if one.first), None)
    said = (
        "No slot is loaded at start: hold the button for a second to choose one."
        if first is None
        else f"Switch the board on: slot {first} is ready at once."
    )
    rows = "".join(_make_row(one) for one in slots)
    return Template(_PAGE.read_text(encoding="utf-8")).substitute(
        title=show_html(f"Board {board}"),
        slots=rows or "<tr><td>All slots are empty.</td></tr>",
        chosen=said,
    )


def _make_row(held: Held) -> str:
    recipe = held.recipe
    mark = " (at every start)" if held.first else ""
    picture = ""
    if recipe is not None and recipe.picture:
        data = base64.b64encode(recipe.picture).decode()
        picture = f'<img alt="" src="data:image/jpeg;base64,{data}">'
    note = "" if recipe is None else " ".join(recipe.label.note.split())[:120]
    return (
        f'<tr><th class="number" scope="row">{held.slot}</th><td>{picture}</td>'
        f"<td><b>{show_html(held.name or 'not known on this computer')}</b>{mark}<br>{show_html(note)}</td></tr>"
    )
