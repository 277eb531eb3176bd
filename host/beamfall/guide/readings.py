"""Answers in the units people think in, to values of a rig file.

Each function takes the text that was typed and returns what the rig file holds: text with a unit, or a
number. They raise UserError with the cure.
"""

from __future__ import annotations

import re

from beamfall.errors import UserError
from beamfall.physics.light import estimate_flash_duration
from beamfall.setup.rig_shot import KINDS
from beamfall.setup.unit_words import format_duration, format_length
from beamfall.setup.units import parse_length, quote
from beamfall.text import list_words

_NUMBER = r"(\d+(?:[.,]\d+)?)"
_SHARE = re.compile(r"1\s*/\s*(\d+)|(\d+(?:[.,]\d+)?)\s*%|full", re.IGNORECASE)
_RATIO = re.compile(rf"{_NUMBER}\s*:\s*{_NUMBER}")
_RULER = re.compile(r"(.+?)\s+(?:over|in|=|across)\s+(\d+)\s*(?:px|pixels?)", re.IGNORECASE)
_SENSOR = re.compile(r"(.+?)\s*(?:/|over|,)\s*(\d+)\s*(?:px|pixels?)?", re.IGNORECASE)
_LENS = re.compile(
    r"(.+?)\s+lens\s*(?:,|and|\+)?\s*(?:(.+?)\s+(?:extension|rings?|tubes?)|(?:at|from)\s+(.+))",
    re.IGNORECASE,
)
_MANY_PIXELS = 1000  # fewer across a sensor must be a typing error


def read_power(text: str) -> str | None:
    """Return the duration (t0.5) of a shoe flash set to a share of its power, such as `1/64`; None for other text.

    The table behind it is `physics.light.estimate_flash_duration`: common practice, no source.
    """
    match = _SHARE.fullmatch(text.strip())
    if match is None:
        return None
    power = 1.0
    if match[1]:
        power = 1.0 / max(1, int(match[1]))
    elif match[2]:
        power = _read_number(match[2]) / 100.0
    if not 1.0 / 256.0 <= power <= 1.0:
        raise UserError(f"{quote(text)}: give the flash's power as a share between 1/1 and 1/256")
    return format_duration(float(f"{estimate_flash_duration(power):.2g}"))


def read_pixel(text: str) -> str | None:
    """Return the width of a pixel from `36 mm / 6000 px` (the sensor's width and its pixels); None for other text."""
    match = _SENSOR.fullmatch(text.strip())
    if match is None:
        return None
    width_m, pixels = parse_length(match[1], key="sensor", example="36 mm"), int(match[2])
    if pixels < _MANY_PIXELS:
        raise UserError(
            f"{quote(text)}: {pixels} pixels across a sensor are too few; give both, such as 36 mm / 6000 px"
        )
    return format_length(width_m / pixels)


def read_magnification(text: str, pixel_m: float) -> float | None:
    """Return the magnification (size on the sensor over size in the scene) from what a photographer can measure.

    - `1:2`: the scale engraved on a macro lens
    - `40 mm over 5200 px`: a ruler in the plane of the drops, in a full-size picture
    - `100 mm lens, 36 mm extension`: m = extension / focal length, lens set to infinity
    - `100 mm lens at 60 cm`: thin lens, from subject to sensor d = f·(2 + m + 1/m)
    None for other text. Thin lens: any textbook of optics, from memory; internal focusing shortens f, so a ruler is
    the better measure.
    """
    text = text.strip()
    if re.fullmatch(_NUMBER, text):
        return _read_number(text)
    if match := _RATIO.fullmatch(text):
        under = _read_number(match[2])
        if not under:
            raise UserError(f"{quote(text)}: write it like 1:2, half life size")
        return round(_read_number(match[1]) / under, 4)
    if match := _RULER.fullmatch(text):
        length_m, pixels = parse_length(match[1], key="ruler", example="40 mm"), int(match[2])
        if length_m <= 0.0 or not pixels:
            raise UserError(f"{quote(text)}: the ruler's length and its pixels must be more than 0")
        return round(pixels * pixel_m / length_m, 4)
    if match := _LENS.fullmatch(text):
        focal_m = parse_length(match[1], key="lens", example="100 mm")
        if focal_m <= 0.0:
            raise UserError(f"{quote(text)}: give the focal length, such as 100 mm lens at 60 cm")
        if match[2]:
            return round(parse_length(match[2], key="extension", example="36 mm") / focal_m, 4)
        return _find_magnification(focal_m, parse_length(match[3], key="distance", example="60 cm"))
    return None


def _find_magnification(focal_m: float, distance_m: float) -> float:
    # d/f = 2 + m + 1/m has two solutions, m and 1/m: a lens without extension gives the smaller.
    excess = distance_m / focal_m - 2.0
    if excess < 2.0:
        raise UserError(
            f"a lens of {focal_m * 1e3:g} mm does not focus at {format_length(distance_m)} from the sensor: "
            f"that takes at least {format_length(4.0 * focal_m)}. Measure from the drops to the sensor"
        )
    return round(float(0.5 * (excess - (excess * excess - 4.0) ** 0.5)), 4)


def read_aperture(text: str) -> float | None:
    """Return the f-number from `f/16`, `f16` or `16`; None for other text."""
    match = re.fullmatch(rf"(?:f\s*/?\s*)?{_NUMBER}", text.strip(), re.IGNORECASE)
    return None if match is None else _read_number(match[1])


def read_choice(text: str, options: tuple[str, ...]) -> str:
    """Return the option that the text begins, in any case. Raises UserError for none or several."""
    wanted = text.strip().lower()
    fitting = [option for option in options if option == wanted] or [
        option for option in options if wanted and option.startswith(wanted)
    ]
    if len(fitting) != 1:
        raise UserError(f"{quote(text)}: answer {list_words(options, 'or')}")
    return fitting[0]


def read_aim(text: str) -> str:
    """Return the kind of picture that a text names; an umbrella is what a collision makes."""
    return "collision" if text.strip().lower() == "umbrella" else read_choice(text, KINDS)


def _read_number(text: str) -> float:
    return float(text.replace(",", "."))
