"""How the simulated picture looks: liquid, light and camera, in plain numbers that the log keeps."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict, dataclass, fields
from typing import Any

Colour = tuple[float, float, float]  # linear red, green and blue

#: Light through a gel of that colour, before white paper; the names are those of `setup.rig_sections`.
GELS: dict[str, Colour] = {
    "white": (1.0, 1.0, 1.0),
    "grey": (0.35, 0.36, 0.38),
    "black": (0.012, 0.012, 0.014),
    "red": (0.95, 0.06, 0.05),
    "orange": (1.0, 0.36, 0.05),
    "yellow": (1.0, 0.80, 0.12),
    "green": (0.12, 0.75, 0.20),
    "pale blue": (0.62, 0.80, 0.95),
    "blue": (0.05, 0.20, 0.50),
    "violet": (0.42, 0.10, 0.85),
    "magenta": (0.90, 0.08, 0.50),
}
#: Absorption of a dyed liquid in 1/mm, red, green and blue (our choice: a few drops of food colouring).
DYES: dict[str, Colour] = {
    "clear": (0.0, 0.0, 0.0),
    "red": (0.01, 0.45, 0.40),
    "orange": (0.01, 0.16, 0.50),
    "yellow": (0.01, 0.04, 0.45),
    "green": (0.40, 0.03, 0.28),
    "blue": (0.45, 0.20, 0.02),
    "violet": (0.14, 0.40, 0.04),
    "black": (0.60, 0.60, 0.60),
}


# Absorption of red, green and blue, and cloudiness, in 1/mm.
Dye = tuple[float, float, float, float]


@dataclass(frozen=True)
class Look:
    """Lengths in mm, angles in degrees.

    `absorption` and `cloudiness` (of milk) are per mm of liquid. The backlight is a sheet of diffuse light behind
    the dish that changes from `top` to `bottom`. `down_deg`: the camera looks down by this angle; `roll_deg`: the
    horizon is tilted by it, counterclockwise. `noise`: standard deviation in the middle tones, of 1.
    """

    index: float = 1.333
    absorption: Colour = DYES["clear"]
    cloudiness: float = 0.0
    top: Colour = GELS["pale blue"]
    bottom: Colour = GELS["blue"]
    slant: float = 0.0  # share by which the light is brighter on the right
    down_deg: float = 5.0
    roll_deg: float = 0.0
    f_number: float = 16.0
    magnification: float = 0.43
    focal_mm: float = 100.0
    exposure: float = 1.0
    noise: float = 0.006
    dish_mm: float = 240.0  # diameter

    @classmethod
    def from_plain(cls, values: Mapping[str, Any]) -> Look:
        """Rebuild a look from a log; what this version does not know is left out."""
        known = {field.name for field in fields(cls)}
        plain: dict[str, Any] = {
            name: tuple(value) if isinstance(value, list) else value
            for name, value in values.items()
            if name in known
        }
        return cls(**plain)

    def to_plain(self) -> dict[str, Any]:
        return asdict(self)
