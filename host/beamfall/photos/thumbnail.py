"""A small JPEG of a picture, for pages. Of raw files the preview that the camera put into them."""

from __future__ import annotations

import io
from pathlib import Path
from typing import Any

from beamfall.errors import PictureError
from beamfall.photos.exif import read_tags
from beamfall.photos.folder import RAW


def make_thumbnail(path: Path, width: int) -> bytes:
    """Return a JPEG of at most `width` pixels across, turned as the camera was held.

    Raises PictureError where there is no such file or nothing in it can be shown.
    """
    from PIL import Image, ImageOps

    if not path.is_file():
        raise PictureError(f"{path.name}: the file is not there any more ({path.parent})")
    source: Any = path
    if path.suffix.lower() in RAW:
        preview = read_tags(path, with_preview=True).get("JPEGThumbnail")
        if not preview:
            raise PictureError(f"{path.name}: this raw file has no preview that can be shown")
        source = io.BytesIO(preview)
    try:
        with Image.open(source) as image:
            image.draft("RGB", (2 * width, 2 * width))  # a JPEG is then decoded small
            upright = ImageOps.exif_transpose(image).convert("RGB")
            upright.thumbnail((width, width))
            out = io.BytesIO()
            upright.save(out, "JPEG", quality=82)
    except Exception as error:  # damaged files make the decoder fail in any way it likes
        raise PictureError(f"{path.name}: cannot be shown ({type(error).__name__})") from error
    return out.getvalue()
