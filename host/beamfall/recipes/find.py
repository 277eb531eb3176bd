"""Finds a recipe by the name of a saved one, or by a file that somebody shared."""

from __future__ import annotations

from pathlib import Path

from beamfall.recipes.package import SUFFIX, read_recipe
from beamfall.recipes.recipe import Recipe
from beamfall.recipes.shelf import Shelf


def find_recipe(name: str) -> Recipe:
    """Return a recipe from its file if the name looks like one, or else by its name; raises RecipeError."""
    if name.lower().endswith(Path(SUFFIX).suffix):
        return read_recipe(Path(name))
    return Shelf.open().load(name)
