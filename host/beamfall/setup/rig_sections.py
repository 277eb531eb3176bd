"""The tables of a rig file: a dataclass for each table, a field for each key, values in SI units.

The field's name carries the SI unit (`height_m`), the file's key does not (`height = "48 cm"`).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from beamfall.setup.file_schema import choice, number, quantity, shares, text, truth
from beamfall.setup.signals import SignalKind
from beamfall.setup.table import BEAMS

#: Colours of a dyed liquid, and of the light behind the dish.
DYES = ("clear", "red", "orange", "yellow", "green", "blue", "violet", "black")
LIGHTS = (
    "white", "grey", "black", "red", "orange", "yellow", "green", "pale blue", "blue", "violet", "magenta",
)  # fmt: skip
_VALVES, _FLASHES = SignalKind.VALVE.names, SignalKind.FLASH.names
_SAME_PLACE_M = 0.005


def is_same_place(one_m: float, other_m: float) -> bool:
    """Whether drops from a nozzle at one place along the dish meet the beam, jet or drops at another."""
    return abs(one_m - other_m) <= _SAME_PLACE_M


def _place_along_dish() -> Any:
    return quantity(
        "length",
        -0.5,
        0.5,
        default=0.0,
        example="5 cm",
        meaning="position along the dish, from the middle of the picture",
    )


@dataclass(frozen=True, slots=True)
class Site:
    """The keys of [site]."""

    air_temperature_k: float = quantity(
        "temperature", 253.15, 323.15, default=293.15, meaning="temperature of the air"
    )
    air_pressure_pa: float = quantity(
        "pressure",
        60e3,
        110e3,
        default=101325.0,
        meaning="air pressure in the weather report, reduced to sea level",
    )
    altitude_m: float = quantity(
        "length", -430.0, 5000.0, default=0.0, example="150 m", meaning="height above sea level"
    )
    latitude_deg: float = quantity(
        "angle", -90.0, 90.0, default=45.0, meaning="latitude; gravity depends on it a little"
    )


@dataclass(frozen=True, slots=True)
class LiquidInRig:
    """The keys of [liquid]. `beamfall.physics.liquids` knows the names and checks them."""

    name: str = text(default="water", meaning="name of the liquid")
    parts: tuple[tuple[str, float], ...] = shares(
        default=(), meaning="a mixture instead of a name: parts by volume"
    )
    grams: tuple[tuple[str, float], ...] = shares(
        default=(), meaning="guar, xanthan or sugar in it: grams per 100 mL"
    )
    temperature_k: float = quantity(
        "temperature", 273.15, 333.15, default=293.15, meaning="temperature of the liquid"
    )
    density_kg_m3: float | None = quantity(
        "density",
        600.0,
        2000.0,
        default=None,
        meaning="density, if you measured it",
        example="998 kg/m^3",
    )
    viscosity_pa_s: float | None = quantity(
        "viscosity",
        1e-4,
        1.0,
        default=None,
        meaning="viscosity, if you measured it",
        example="1 mPa*s",
    )
    surface_tension_n_m: float | None = quantity(
        "surface_tension",
        5e-3,
        0.1,
        default=None,
        meaning="surface tension, if you measured it",
        example="72 mN/m",
    )
    colour: str = choice(DYES, default="clear", meaning="colour of the liquid, for the picture")


@dataclass(frozen=True, slots=True)
class Bottle(LiquidInRig):
    """The keys of [[bottle]]: what one valve lets fall, where that is not the liquid of the dish."""

    valve: str = choice(_VALVES, default="valve1", meaning="valve that the bottle feeds")


@dataclass(frozen=True, slots=True)
class Dish:
    """The keys of [dish]."""

    depth_m: float = quantity(
        "length", 0.0005, 1.0, example="25 mm", meaning="depth of the liquid in the dish"
    )
    diameter_m: float | None = quantity(
        "length", 0.02, 5.0, default=None, example="24 cm", meaning="inner diameter of the dish"
    )


@dataclass(frozen=True, slots=True)
class Valve:
    """The keys of [[valve]]. Valves within 5 mm of each other share a place: their drops meet."""

    output: str = choice(_VALVES, default="valve1", meaning="output of the board")
    height_m: float = quantity(
        "length", 0.02, 5.0, example="60 cm", meaning="mouth of the nozzle above the liquid"
    )
    bore_m: float = quantity(
        "length", 0.0002, 0.01, example="2 mm", meaning="inner diameter of the nozzle"
    )
    outer_diameter_m: float | None = quantity(
        "length",
        0.0002,
        0.02,
        default=None,
        example="3 mm",
        meaning="outer diameter of the nozzle at its mouth",
    )
    head_m: float = quantity(
        "length",
        0.005,
        2.0,
        example="10 cm",
        meaning="air inlet of the Mariotte bottle above the nozzle's mouth",
    )
    length_m: float | None = quantity(
        "length",
        1e-4,
        0.5,
        default=None,
        example="20 mm",
        meaning="length of the narrow path from valve seat to mouth; if unknown, 20 mm is assumed",
    )
    discharge: float = number(
        0.3, 1.0, default=0.61, meaning="discharge coefficient: real flow divided by ideal flow"
    )
    lag_s: float = quantity(
        "duration",
        0.0,
        0.1,
        default=0.0,
        example="2 ms",
        meaning="part of the opening in which nothing flows",
    )
    opening_s: float = quantity(
        "duration", 0.0005, 0.5, example="13 ms", meaning="how long the valve opens for one drop"
    )
    latency_s: float = quantity(
        "duration",
        0.0,
        0.5,
        example="22 ms",
        meaning="time from the command to the drop leaving the nozzle; a guess until calibrated",
    )
    place_m: float = _place_along_dish()


@dataclass(frozen=True, slots=True)
class Beam:
    """The keys of [[beam]]. It sees drops that fall within 5 mm of its place."""

    input: str = choice(BEAMS, default="beam1", meaning="input of the board")
    height_m: float = quantity(
        "length", 0.005, 5.0, example="47 cm", meaning="height above the liquid"
    )
    width_m: float = quantity(
        "length", 0.0, 0.05, default=0.001, meaning="width of the beam along the fall"
    )
    offset_m: float = quantity(
        "length",
        0.0,
        0.02,
        default=0.0,
        example="1 mm",
        meaning="distance of the fall path from the beam's middle",
    )
    edge: str = choice(
        ("dark", "clear"), default="dark", meaning="which edge counts: the drop entering or leaving"
    )
    blanking_s: float = quantity(
        "duration",
        0.0,
        1.0,
        default=0.0,
        example="20 ms",
        meaning="how long to ignore edges after one that counts, so that satellite drops do not count",
    )
    dwell_s: float = quantity(
        "duration",
        0.0,
        0.05,
        default=0.0,
        example="0.5 ms",
        meaning="shortest time in the beam that counts as a drop",
    )
    place_m: float = _place_along_dish()


@dataclass(frozen=True, slots=True)
class Flash:
    """The keys of [[flash]]."""

    output: str = choice(_FLASHES, default="flash1", meaning="output of the board")
    latency_s: float = quantity(
        "duration", 0.0, 0.05, default=50e-6, meaning="time from the contact to the light"
    )
    duration_s: float = quantity(
        "duration",
        1e-7,
        0.05,
        default=50e-6,
        meaning="duration of the light (t0.5: above half of its peak)",
    )
    contact_s: float = quantity(
        "duration", 1e-5, 0.02, default=0.002, meaning="how long the contact is closed"
    )
    recycle_s: float = quantity(
        "duration", 0.0, 60.0, default=1.0, meaning="time until the flash can fire again"
    )


@dataclass(frozen=True, slots=True)
class Camera:
    """The keys of [camera]. Without `exposure` it is on bulb.

    Magnification, aperture and pixel serve to estimate blur and depth of field.
    """

    focus_lead_s: float = quantity(
        "duration",
        0.0,
        10.0,
        default=0.0,
        example="300 ms",
        meaning="focus contact closes this long before the release",
    )
    shutter_lead_s: float = quantity(
        "duration", 0.0, 5.0, default=0.1, meaning="shutter opens this long before the release"
    )
    hold_s: float = quantity(
        "duration",
        0.0,
        5.0,
        default=0.1,
        meaning="shutter stays open this long after the last flash",
    )
    shutter_lag_s: float = quantity(
        "duration",
        0.0,
        1.0,
        default=0.0,
        example="60 ms",
        meaning="time from the shutter's contact to the open shutter; `beamfall calibrate camera` measures it",
    )
    shutter_scatter_s: float = quantity(
        "duration",
        0.0,
        0.2,
        default=0.0,
        example="2 ms",
        meaning="scatter of the shutter lag from shot to shot",
    )
    exposure_s: float | None = quantity(
        "duration",
        0.001,
        30.0,
        default=None,
        example="500 ms",
        meaning="shutter time set on the camera; leave it out if the camera is on bulb",
    )
    sync_input: str | None = choice(
        BEAMS, default=None, meaning="spare input to which the camera's hot-shoe contact is wired"
    )
    looks_down_deg: float | None = quantity(
        "angle",
        0.0,
        60.0,
        default=None,
        example="20 deg",
        meaning="angle by which the camera looks down at the surface; without it the rings in a picture show it",
    )
    magnification: float = number(
        0.01, 10.0, default=0.5, meaning="size on the sensor divided by size in the scene"
    )
    aperture: float = number(0.7, 64.0, default=16.0, meaning="f-number of the lens: 16 for f/16")
    pixel_m: float = quantity(
        "length", 5e-7, 5e-5, default=4e-6, meaning="width of a pixel on the sensor"
    )


@dataclass(frozen=True, slots=True)
class Uncertainty:
    """The keys of [uncertainty]."""

    latency_s: float = quantity(
        "duration", 0.0, 0.1, default=2e-3, meaning="error of the valves' latency"
    )
    height_m: float = quantity(
        "length", 0.0, 0.1, default=2e-3, meaning="error of the heights of nozzles and beams"
    )
    volume: float = quantity(
        "fraction", 0.0, 1.0, default=0.15, meaning="error of the drop's volume"
    )
    latency_scatter_s: float = quantity(
        "duration", 0.0, 0.05, default=2e-4, meaning="scatter of the latency from drop to drop"
    )
    volume_scatter: float = quantity(
        "fraction", 0.0, 0.5, default=0.01, meaning="scatter of the volume from drop to drop"
    )


@dataclass(frozen=True, slots=True)
class Light:
    """The keys of [light]."""

    top: str = choice(LIGHTS, default="pale blue", meaning="colour of the backlight at its top")
    bottom: str = choice(LIGHTS, default="blue", meaning="colour of the backlight at the surface")


@dataclass(frozen=True, slots=True)
class Fitted:
    """The keys of [fitted]."""

    flash_seen: bool = truth(default=True, meaning="the sensor that sees the flash's light")
    button: bool = truth(default=True, meaning="the button that releases a shot")
