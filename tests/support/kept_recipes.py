"""A recipe on its own shelf for tests, and ways to change files in transit."""

from __future__ import annotations

import io
import os
import zipfile
from dataclasses import dataclass
from pathlib import Path

from command_line import run_cli

from beamfall.recipes.recipe import Recipe
from beamfall.recipes.shelf import Shelf

NAME = "Grey umbrella"
OWNER = "Ada's rig"


@dataclass(frozen=True)
class Kept:
    """A recipe on its shelf, with the folder of log and rig file."""

    folder: Path
    rig: Path
    recipe: Recipe

    def beamfall(self, *arguments: object, status: int = 0) -> str:
        done = run_cli(*arguments, environment=self.environment)
        assert done.returncode == status, done.stdout + done.stderr
        return done.stdout + done.stderr

    @property
    def environment(self) -> dict[str, str]:
        return {**os.environ, "BEAMFALL_LOG": str(self.folder / "shots.sqlite3")}

    @property
    def shelf(self) -> Shelf:
        return Shelf.open(self.folder / "shots.sqlite3")


def rewrite(data: bytes, changes: dict[str, bytes | None]) -> bytes:
    """The zip with parts changed, added, or (None) left out."""
    with zipfile.ZipFile(io.BytesIO(data)) as archive:
        parts = {name: archive.read(name) for name in archive.namelist()}
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, content in {**parts, **changes}.items():
            if content is not None:
                archive.writestr(name, content)
    return out.getvalue()
