"""A copy of a picture with what was measured drawn over it, to check by eye. The picture itself is never altered."""

from __future__ import annotations

import math
import warnings
from pathlib import Path
from typing import Any

from beamfall.files import write_whole
from beamfall.photos.measure.result import LENGTHS, Measured, Value

_WIDTH_PX = 1400
_COLOURS = {
    "surface": (60, 200, 255), "tip": (255, 190, 60), "drop": (120, 255, 120),
    "left": (255, 110, 200), "right": (255, 110, 200),
}  # fmt: skip


def write_overlay(measured: Measured, file: Path) -> None:
    """Write the overlay of a measured file as a JPEG or PNG; raises FileWriteError."""
    from PIL import Image, ImageDraw, ImageFont, ImageOps

    assert measured.path is not None, "only a measured file has an overlay"
    with warnings.catch_warnings(action="ignore"), Image.open(measured.path) as image:
        image.draft("RGB", (_WIDTH_PX, _WIDTH_PX))
        picture = ImageOps.exif_transpose(image).convert("RGB")
    picture.thumbnail((_WIDTH_PX, _WIDTH_PX))
    share = picture.width / measured.width
    pen = ImageDraw.Draw(picture)
    size = max(12.0, picture.width / 55)
    font = ImageFont.load_default(size)
    thick = max(2, round(picture.width / 450))

    def place(name: str) -> tuple[float, float]:
        mark = measured.marks[name]
        return mark.column * share, mark.row * share

    def line(name: str, *ends: float) -> None:
        pen.line(ends, fill="black", width=thick + 2)
        pen.line(ends, fill=_COLOURS[name], width=thick)

    def cross(name: str) -> None:
        x, y = place(name)
        arm = 0.6 * size
        line(name, x - arm, y, x + arm, y)
        line(name, x, y - arm, x, y + arm)

    for name in measured.marks:
        x, y = place(name)
        if name == "surface":
            slope = math.tan(math.radians(measured.roll_deg))
            line(name, 0.0, y + slope * x, picture.width, y - slope * (picture.width - x))
        else:
            cross(name)
    if "left" in measured.marks and "right" in measured.marks:
        line("left", *place("left"), *place("right"))
    lines = [measured.stage or "not sure", *say_lengths(measured), *measured.doubts]
    pen.multiline_text(
        (size, size), "\n".join(lines), fill="white", font=font, stroke_width=2, stroke_fill="black"
    )
    with write_whole(file) as part:
        picture.save(part, format="PNG" if file.suffix.lower() == ".png" else "JPEG")


def say_lengths(measured: Measured) -> list[str]:
    """What was measured, one line each: `jet height 23.4 ± 0.2 mm`."""
    lines = [
        f"{name.replace('_', ' ')} {say_value(value)} mm"
        for name in LENGTHS
        if (value := getattr(measured, name)) is not None
    ]
    if measured.since_contact_ms is not None:
        lines.append(f"time since contact {say_value(measured.since_contact_ms)} ms")
    if measured.looks_down is not None:
        lines.append(
            f"the camera looks down by {measured.looks_down.value:.0f} ± {measured.looks_down.error:.1f}°"
        )
    return lines


def say_value(value: Value | Any) -> str:
    digits = 1 if value.error >= 0.095 else 2
    return f"{value.value:.{digits}f} ± {value.error:.{digits}f}"
