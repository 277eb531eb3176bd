"""Pictures made for the tests, with the EXIF tags of CIPA DC-008, written by Pillow."""

from __future__ import annotations

import sys
from collections.abc import Callable
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from PIL import Image, ImageDraw
from PIL.TiffImagePlugin import IFDRational, ImageFileDirectory_v2

sys.path.insert(0, str(Path(__file__).parent))

# CIPA DC-008 (Exif 2.32), 4.6: tag numbers.
MAKE, MODEL, DATE_TIME, EXIF_IFD = 0x010F, 0x0110, 0x0132, 0x8769
EXPOSURE_TIME, ORIGINAL, SUB_SEC_ORIGINAL = 0x829A, 0x9003, 0x9291


def _make_picture(
    file: Path,
    taken_s: float | None,
    *,
    kind: str = "JPEG",
    decimals: str = "",
    exposure_s: float | None = None,
    model: str = "invented camera",
    tag: int = ORIGINAL,
    text: str | None = None,
    label: str = "",
    size: tuple[int, int] = (600, 400),
) -> Path:
    """Write a picture that the camera says it took `taken_s` after its 1970."""
    image = Image.new("RGB", size, (14, 15, 17))
    draw = ImageDraw.Draw(image)
    draw.ellipse(
        (0.40 * size[0], 0.30 * size[1], 0.60 * size[0], 0.60 * size[1]), fill=(120, 170, 210)
    )
    draw.text((20, 20), label or file.stem, fill=(230, 230, 230))
    exif = Image.Exif()
    exif[MAKE], exif[MODEL] = "Beamfall tests", model
    inner: dict[int, Any] = {}
    if taken_s is not None or text is not None:
        when = datetime(1970, 1, 1) + timedelta(seconds=taken_s or 0.0)
        written = when.strftime("%Y:%m:%d %H:%M:%S") if text is None else text
        if tag == DATE_TIME:
            exif[DATE_TIME] = written
        else:
            inner[tag] = written
    if decimals:
        inner[SUB_SEC_ORIGINAL] = decimals
    if exposure_s is not None:
        inner[EXPOSURE_TIME] = IFDRational(round(exposure_s * 1000), 1000)
    file.parent.mkdir(parents=True, exist_ok=True)
    if kind == "TIFF":
        tags = ImageFileDirectory_v2()
        for number, value in exif.items():
            tags[number] = value
        if inner:
            tags[EXIF_IFD] = inner
        image.save(file, kind, tiffinfo=tags)
        return file
    if inner:
        exif.get_ifd(EXIF_IFD).update(inner)
    image.save(file, kind, exif=exif)
    return file


@pytest.fixture
def make_picture() -> Callable[..., Path]:
    return _make_picture
