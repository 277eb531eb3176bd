"""The file of a recipe: a zip with three TOML texts and a picture. What comes from elsewhere is never trusted.

Nothing is ever unpacked to a path: the four known names are read into memory, up to a limit each, and everything
else in the file is refused.
"""

from __future__ import annotations

import io
import zipfile
import zlib
from pathlib import Path

from beamfall.errors import PictureError, RecipeError
from beamfall.files import write_bytes
from beamfall.photos.thumbnail import shrink_picture
from beamfall.recipes.form import RECIPE, RIG, SEQUENCE, read_texts, write_texts
from beamfall.recipes.recipe import Recipe

SUFFIX = ".recipe.zip"
PICTURE = "picture.jpg"
PICTURE_WIDTH = 900
FILE_MOST, TEXT_MOST, PICTURE_MOST = 4_000_000, 200_000, 3_000_000  # bytes
_DAY = (1980, 1, 1, 0, 0, 0)  # of every file in it: the time of writing stays private


def write_recipe(file: Path, recipe: Recipe, *, shared: bool) -> None:
    """Write a recipe's file, complete or not at all; raises FileWriteError."""
    write_bytes(file, pack_recipe(recipe, shared=shared))


def pack_recipe(recipe: Recipe, *, shared: bool) -> bytes:
    """Return the bytes of a recipe's file; `shared`: without the owner's private data."""
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as archive:
        for name, text in write_texts(recipe, shared=shared).items():
            archive.writestr(_entry(name), text.encode(), zipfile.ZIP_DEFLATED)
        if recipe.picture is not None:
            archive.writestr(_entry(PICTURE), recipe.picture, zipfile.ZIP_STORED)
    return out.getvalue()


def _entry(name: str) -> zipfile.ZipInfo:
    return zipfile.ZipInfo(name, _DAY)


def read_recipe(file: Path, *, with_picture: bool = True) -> Recipe:
    """Read a recipe's file; raises RecipeError for whatever is wrong with it.

    Without `with_picture` a picture is not read: it is empty bytes if there is one.
    """
    try:
        if not file.is_file():
            raise RecipeError(f"{file}: there is no such recipe file")
        if file.stat().st_size > FILE_MOST:
            raise RecipeError(
                f"{file}: too large for a recipe ({FILE_MOST // 1_000_000} MB at most)"
            )
        data = file.read_bytes()
    except OSError as error:
        raise RecipeError(f"{file}: cannot be read: {error.strerror or error}") from error
    return unpack_recipe(data, str(file), with_picture=with_picture)


def unpack_recipe(data: bytes, source: str, *, with_picture: bool = True) -> Recipe:
    """Return the recipe in the bytes of a file; raises RecipeError."""
    if len(data) > FILE_MOST:
        raise RecipeError(f"{source}: too large for a recipe ({FILE_MOST // 1_000_000} MB at most)")
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as archive:
            parts = _read_parts(archive, source)
    except RecipeError:
        raise
    except (zipfile.BadZipFile, zlib.error, EOFError, OSError, ValueError, RuntimeError,
            NotImplementedError, LookupError, OverflowError) as error:  # fmt: skip
        raise RecipeError(
            f"{source}: damaged, or not a recipe: it cannot be opened as a zip file. Ask for a new copy"
        ) from error
    picture = parts.pop(PICTURE, None)
    texts: dict[str, str] = {}
    for name, content in parts.items():
        try:
            texts[name] = content.decode("utf-8")
        except UnicodeDecodeError as error:
            raise RecipeError(f"{source}: {name} in it is damaged: not UTF-8 text") from error
    if picture is not None:
        picture = _clean(picture, source) if with_picture else b""
    return read_texts(texts, source, picture)


def _read_parts(archive: zipfile.ZipFile, source: str) -> dict[str, bytes]:
    limits = {RECIPE: TEXT_MOST, RIG: TEXT_MOST, SEQUENCE: TEXT_MOST, PICTURE: PICTURE_MOST}
    found: dict[str, bytes] = {}
    for entry in archive.infolist():
        limit = limits.get(entry.filename)
        if limit is None or entry.filename in found:
            raise RecipeError(
                f"{source}: not a Beamfall recipe: it contains something other than {', '.join(limits)}"
            )
        with archive.open(entry) as part:
            content = part.read(limit + 1)  # do not trust the size that the entry states
        if len(content) > limit:
            raise RecipeError(f"{source}: {entry.filename} in it is over {limit // 1000} kB")
        found[entry.filename] = content
    return found


def _clean(picture: bytes, source: str) -> bytes:
    """Encode the picture again, so that only its pixels are taken."""
    try:
        return shrink_picture(picture, PICTURE_WIDTH, f"{source}, {PICTURE}")
    except PictureError as error:
        raise RecipeError(f"{source}: its picture is damaged or not a picture") from error
