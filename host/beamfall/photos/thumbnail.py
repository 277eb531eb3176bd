"""Makes a small JPEG of a picture, for pages; for raw files from the preview that the camera put into them."""

from __future__ import annotations

import io
import logging
import warnings
from pathlib import Path
from typing import TYPE_CHECKING, Any

from beamfall.errors import PictureError
from beamfall.photos.exif import read_tags
from beamfall.photos.folder import RAW

if TYPE_CHECKING:
    from PIL.Image import Image

_PIXELS_MOST = 50_000_000  # of a picture that must be decoded whole: 150 MB of memory
# For a progressive JPEG, which is kept whole while it is decoded: up to 420 MB
_PROGRESSIVE_MOST = 70_000_000


def make_thumbnail(path: Path, width: int) -> bytes:
    """Return a JPEG of at most `width` pixels across, turned as the camera was held.

    Raises PictureError if there is no such file, nothing in it can be shown, or it is a format that must be
    decoded whole and has over `_PIXELS_MOST` pixels.
    """
    if not path.is_file():
        raise PictureError(f"{path.name}: the file no longer exists ({path.parent})")
    source: Any = path
    if path.suffix.lower() in RAW:
        preview = read_tags(path, with_preview=True).get("JPEGThumbnail")
        if not preview:
            raise PictureError(f"{path.name}: this raw file has no preview that can be shown")
        source = io.BytesIO(preview)
    return _make_jpeg(source, width, path.name)


def shrink_picture(data: bytes, width: int, name: str) -> bytes:
    """Return a JPEG of a picture in memory, at most `width` pixels across: its pixels and nothing else.

    `name` is what a message calls it. Raises PictureError as `make_thumbnail` does.
    """
    return _make_jpeg(io.BytesIO(data), width, name)


def decode_small(image: Image, width: int, name: str) -> None:
    """Have an opened JPEG decoded at little more than `width` pixels; raise PictureError where a picture takes too
    much memory all the same.
    """
    columns, rows = image.size
    image.draft("RGB", (width, width))
    is_whole = image.width * image.height > _PIXELS_MOST
    if is_whole or ("progressive" in image.info and columns * rows > _PROGRESSIVE_MOST):
        raise PictureError(f"{name}: {columns} x {rows} pixels are too many; export a smaller copy")


def _make_jpeg(source: Any, width: int, name: str) -> bytes:
    try:
        # Pillow's messages are not for our users
        logging.getLogger("PIL").setLevel(logging.CRITICAL)
        with warnings.catch_warnings(action="ignore"):
            return _shrink(source, width, name)
    except PictureError:
        raise
    except Exception as error:  # damaged files make the decoder fail in any way it likes
        raise PictureError(f"{name}: cannot be shown ({type(error).__name__})") from error


def _shrink(source: Any, width: int, name: str) -> bytes:
    from PIL import Image, ImageOps

    with Image.open(source) as image:
        decode_small(image, 2 * width, name)
        image.thumbnail((2 * width, 2 * width))
        upright = ImageOps.exif_transpose(image).convert("RGB")
        upright.thumbnail((width, width))
        out = io.BytesIO()
        upright.save(out, "JPEG", quality=82)
    return out.getvalue()
