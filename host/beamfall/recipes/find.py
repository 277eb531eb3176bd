"""A recipe by what people call it: the name of a kept one, or a file that somebody shared."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from beamfall.recipes.package import SUFFIX, read_recipe
from beamfall.recipes.shelf import Shelf

if TYPE_CHECKING:
    from beamfall.recipes.recipe import Recipe


def find_recipe(name: str) -> Recipe:
    """Return a recipe by its file, where the name ends as one, else by its name on the shelf; raises RecipeError."""
    if name.lower().endswith(Path(SUFFIX).suffix):
        return read_recipe(Path(name))
    return Shelf.open().load(name)
