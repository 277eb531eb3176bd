"""Where recipes are kept: one file each in a folder beside the shot log, found by name; capitals do not matter."""

from __future__ import annotations

import hashlib
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from beamfall.errors import RecipeError
from beamfall.files import explain_write
from beamfall.places import find_log
from beamfall.recipes.package import SUFFIX, read_recipe, write_recipe
from beamfall.recipes.recipe import Recipe, check_name
from beamfall.text import make_file_name


@dataclass(frozen=True)
class Shelved:
    """A recipe on the shelf; its picture is empty bytes where it has one. `problem` says why it cannot be read."""

    file: Path
    recipe: Recipe | None
    problem: str = ""


@dataclass(frozen=True)
class Shelf:
    """The recipes in a folder; it is made when the first one is saved."""

    folder: Path

    @classmethod
    def open(cls, log: Path | None = None) -> Shelf:
        """The shelf beside a shot log, the user's own when None."""
        return cls((find_log() if log is None else log).with_suffix(".recipes"))

    def find_file(self, name: str) -> Path:
        """Where the recipe of that name is, or would be."""
        plain = check_name(name).casefold()
        mark = hashlib.sha256(plain.encode()).hexdigest()[:8]
        return self.folder / f"{make_file_name(plain)[:40]}-{mark}{SUFFIX}"

    def list(self) -> Iterator[Shelved]:
        """Every recipe, by the name of its file; one that cannot be read says why."""
        for file in sorted(self.folder.glob(f"*{SUFFIX}")):
            try:
                yield Shelved(file, read_recipe(file, with_picture=False))
            except RecipeError as error:
                yield Shelved(file, None, str(error))

    def load(self, name: str) -> Recipe:
        """Return a recipe with its picture; raises RecipeError."""
        file = self.find_file(name)
        if not file.exists():
            known = [one.recipe.name for one in self.list() if one.recipe is not None]
            have = (
                f"you have {', '.join(known[:10])}: `beamfall recipe list`"
                if known
                else "none is saved yet: `beamfall recipe save NAME` saves the newest shot"
            )
            raise RecipeError(f"there is no recipe '{check_name(name)}'; {have}")
        return read_recipe(file)

    def save(self, recipe: Recipe, *, replace: bool = False) -> Path:
        """Save a recipe; raises RecipeError if its name is taken, unless `replace`, and FileWriteError."""
        file = self.find_file(recipe.name)
        if not replace:
            self.refuse_taken(recipe.name)
        with explain_write(file):
            self.folder.mkdir(parents=True, exist_ok=True)
        write_recipe(file, recipe, shared=False)
        return file

    def refuse_taken(self, name: str) -> None:
        """Raise RecipeError if there is a recipe of that name."""
        if self.find_file(name).exists():
            raise RecipeError(
                f"a recipe '{check_name(name)}' already exists: choose another name, or remove that one first"
            )

    def rename(self, name: str, new: str) -> Recipe:
        """Rename a recipe; raises RecipeError if there is none or the new name is taken."""
        recipe = self.load(name).renamed(new)
        old = self.find_file(name)
        self.save(recipe, replace=self.find_file(new) == old)
        if self.find_file(new) != old:
            with explain_write(old):
                old.unlink()
        return recipe

    def remove(self, name: str) -> None:
        """Remove a recipe; raises RecipeError if there is none."""
        file = self.find_file(name)
        if not file.exists():
            self.load(name)  # names the existing recipes
        with explain_write(file):
            file.unlink()
