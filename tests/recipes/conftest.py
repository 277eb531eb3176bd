"""A shot on a rig of its own, and the recipe kept from it."""

from __future__ import annotations

from pathlib import Path

import pytest
from kept_recipes import NAME, OWNER, Kept
from PIL import Image

from beamfall.recipes.package import pack_recipe, read_recipe
from beamfall.setup.rig import EXAMPLE


@pytest.fixture(scope="session")
def first_kept(tmp_path_factory: pytest.TempPathFactory) -> Kept:
    """Fired, photographed and kept by the command line, once for all tests."""
    folder = tmp_path_factory.mktemp("recipes")
    rig = folder / "rig.toml"
    text = EXAMPLE.read_text(encoding="utf-8").replace("invented collision rig", OWNER)
    rig.write_text(text.replace('rest = "5 s"', 'rest = "0 s"'), encoding="utf-8")
    photo = folder / "DSC_0042.jpg"
    exif = Image.Exif()
    exif[0x013B] = OWNER  # the artist
    Image.new("RGB", (64, 48), "grey").save(photo, exif=exif)
    kept = Kept(folder, rig, None)  # type: ignore[arg-type]
    kept.beamfall("shoot", rig, "--port", "sim?seed=3", "--json")
    kept.beamfall("shots", "picture", 1, photo)
    kept.beamfall("recipe", "save", NAME, "--rig", rig)
    (file,) = kept.shelf.folder.iterdir()
    return Kept(folder, rig, read_recipe(file))


@pytest.fixture
def kept(first_kept: Kept, tmp_path: Path) -> Kept:
    """The same recipe on a shelf that a test may change."""
    mine = Kept(tmp_path, first_kept.rig, first_kept.recipe)
    mine.shelf.save(first_kept.recipe)
    return mine


@pytest.fixture(scope="session")
def shared(first_kept: Kept) -> bytes:
    """The bytes that `share` writes."""
    return pack_recipe(first_kept.recipe, shared=True)
