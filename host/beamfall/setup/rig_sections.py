"""The tables of a rig file: a dataclass for each table, a field for each key, values in SI units.

The field's name carries the SI unit (`height_m`), the file's key does not (`height = "48 cm"`). `rig_tables` says
what each table is.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from beamfall.setup.file_schema import (
    choice,
    duration,
    length,
    number,
    quantity,
    shares,
    text,
    truth,
)
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
    return length(
        -0.5,
        0.5,
        "position along the dish, from the middle of the picture",
        default=0.0,
        example="5 cm",
    )


@dataclass(frozen=True, slots=True)
class Site:
    """The keys of [site]."""

    air_temperature_k: float = quantity(
        "temperature", 253.15, 323.15, "temperature of the air", default=293.15
    )
    air_pressure_pa: float = quantity(
        "pressure",
        60e3,
        110e3,
        "air pressure in the weather report, reduced to sea level",
        default=101325.0,
    )
    altitude_m: float = length(
        -430.0, 5000.0, "height above sea level", default=0.0, example="150 m"
    )
    latitude_deg: float = quantity(
        "angle", -90.0, 90.0, "latitude; gravity varies slightly with it", default=45.0
    )


@dataclass(frozen=True, slots=True)
class LiquidInRig:
    """The keys of [liquid].

    `beamfall.physics.liquids` knows the names and checks them.
    """

    name: str = text("name of the liquid", default="water")
    parts: tuple[tuple[str, float], ...] = shares(
        "a mixture instead of a name: parts by volume", default=()
    )
    grams: tuple[tuple[str, float], ...] = shares(
        "guar, xanthan or sugar in it: grams per 100 mL", default=()
    )
    temperature_k: float = quantity(
        "temperature", 273.15, 333.15, "temperature of the liquid", default=293.15
    )
    density_kg_m3: float | None = quantity(
        "density", 600.0, 2000.0, "density, if you measured it", default=None, example="998 kg/m^3"
    )
    viscosity_pa_s: float | None = quantity(
        "viscosity", 1e-4, 1.0, "viscosity, if you measured it", default=None, example="1 mPa*s"
    )
    surface_tension_n_m: float | None = quantity(
        "surface_tension",
        5e-3,
        0.1,
        "surface tension, if you measured it",
        default=None,
        example="72 mN/m",
    )
    colour: str = choice(DYES, "colour of the liquid, for the picture", default="clear")


@dataclass(frozen=True, slots=True)
class Bottle(LiquidInRig):
    """The keys of [[bottle]]."""

    valve: str = choice(_VALVES, "valve that the bottle feeds", default="valve1")


@dataclass(frozen=True, slots=True)
class Dish:
    """The keys of [dish]."""

    depth_m: float = length(0.0005, 1.0, "depth of the liquid in the dish", example="25 mm")
    diameter_m: float | None = length(
        0.02, 5.0, "inner diameter of the dish", default=None, example="24 cm"
    )


@dataclass(frozen=True, slots=True)
class Valve:
    """The keys of [[valve]].

    Valves within 5 mm of each other share a place: their drops meet.
    """

    output: str = choice(_VALVES, "output of the board", default="valve1")
    height_m: float = length(0.02, 5.0, "mouth of the nozzle above the liquid", example="60 cm")
    bore_m: float = length(0.0002, 0.01, "inner diameter of the nozzle", example="2 mm")
    outer_diameter_m: float | None = length(
        0.0002, 0.02, "outer diameter of the nozzle at its mouth", default=None, example="3 mm"
    )
    head_m: float = length(
        0.005, 2.0, "air inlet of the Mariotte bottle above the nozzle's mouth", example="10 cm"
    )
    length_m: float | None = length(
        1e-4,
        0.5,
        "length of the narrow path from valve seat to mouth; if unknown, 20 mm is assumed",
        default=None,
        example="20 mm",
    )
    discharge: float = number(
        0.3, 1.0, "discharge coefficient: real flow divided by ideal flow", default=0.61
    )
    lag_s: float = duration(
        0.0, 0.1, "part of the opening during which nothing flows", default=0.0, example="2 ms"
    )
    opening_s: float = duration(
        0.0005, 0.5, "how long the valve opens for one drop", example="13 ms"
    )
    latency_s: float = duration(
        0.0,
        0.5,
        "time from the command to the drop leaving the nozzle; a guess until calibrated",
        example="22 ms",
    )
    place_m: float = _place_along_dish()


@dataclass(frozen=True, slots=True)
class Beam:
    """The keys of [[beam]].

    It sees drops that fall within 5 mm of its place.
    """

    input: str = choice(BEAMS, "input of the board", default="beam1")
    height_m: float = length(0.005, 5.0, "height above the liquid", example="47 cm")
    width_m: float = length(0.0, 0.05, "width of the beam along the fall", default=0.001)
    offset_m: float = length(
        0.0, 0.02, "distance of the fall path from the beam's middle", default=0.0, example="1 mm"
    )
    edge: str = choice(
        ("dark", "clear"), "which edge counts: the drop entering or leaving", default="dark"
    )
    blanking_s: float = duration(
        0.0,
        1.0,
        "how long to ignore edges after one that counts, so that satellite drops do not count",
        default=0.0,
        example="20 ms",
    )
    dwell_s: float = duration(
        0.0, 0.05, "shortest time in the beam that counts as a drop", default=0.0, example="0.5 ms"
    )
    place_m: float = _place_along_dish()


@dataclass(frozen=True, slots=True)
class Flash:
    """The keys of [[flash]]."""

    output: str = choice(_FLASHES, "output of the board", default="flash1")
    latency_s: float = duration(0.0, 0.05, "time from the contact to the light", default=50e-6)
    duration_s: float = duration(
        1e-7, 0.05, "duration of the light (t0.5: above half of its peak)", default=50e-6
    )
    contact_s: float = duration(1e-5, 0.02, "how long the contact is closed", default=0.002)
    recycle_s: float = duration(0.0, 60.0, "time until the flash can fire again", default=1.0)


@dataclass(frozen=True, slots=True)
class Camera:
    """The keys of [camera].

    Without `exposure` it is on bulb. Magnification, aperture and pixel serve to estimate blur and depth of field.
    """

    focus_lead_s: float = duration(
        0.0,
        10.0,
        "focus contact closes this long before the release",
        default=0.0,
        example="300 ms",
    )
    shutter_lead_s: float = duration(
        0.0, 5.0, "shutter opens this long before the release", default=0.1
    )
    hold_s: float = duration(
        0.0, 5.0, "shutter stays open this long after the last flash", default=0.1
    )
    shutter_lag_s: float = duration(
        0.0,
        1.0,
        "time from the shutter's contact to the open shutter; `beamfall calibrate camera` measures it",
        default=0.0,
        example="60 ms",
    )
    shutter_scatter_s: float = duration(
        0.0, 0.2, "scatter of the shutter lag from shot to shot", default=0.0, example="2 ms"
    )
    exposure_s: float | None = duration(
        0.001,
        30.0,
        "shutter time set on the camera; leave it out if the camera is on bulb",
        default=None,
        example="500 ms",
    )
    sync_input: str | None = choice(
        BEAMS, "spare input to which the camera's hot-shoe contact is wired", default=None
    )
    looks_down_deg: float | None = quantity(
        "angle",
        0.0,
        60.0,
        "angle by which the camera looks down at the surface; without it the rings in a picture show it",
        default=None,
        example="20 deg",
    )
    magnification: float = number(
        0.01, 10.0, "size on the sensor divided by size in the scene", default=0.5
    )
    aperture: float = number(0.7, 64.0, "f-number of the lens: 16 for f/16", default=16.0)
    pixel_m: float = length(5e-7, 5e-5, "width of a pixel on the sensor", default=4e-6)


@dataclass(frozen=True, slots=True)
class Uncertainty:
    """The keys of [uncertainty]."""

    latency_s: float = duration(0.0, 0.1, "error of the valves' latency", default=2e-3)
    height_m: float = length(0.0, 0.1, "error of the heights of nozzles and beams", default=2e-3)
    volume: float = quantity("fraction", 0.0, 1.0, "error of the drop's volume", default=0.15)
    latency_scatter_s: float = duration(
        0.0, 0.05, "scatter of the latency from drop to drop", default=2e-4
    )
    volume_scatter: float = quantity(
        "fraction", 0.0, 0.5, "scatter of the volume from drop to drop", default=0.01
    )


@dataclass(frozen=True, slots=True)
class Light:
    """The keys of [light]."""

    top: str = choice(LIGHTS, "colour of the backlight at its top", default="pale blue")
    bottom: str = choice(LIGHTS, "colour of the backlight at the surface", default="blue")


@dataclass(frozen=True, slots=True)
class Fitted:
    """The keys of [fitted]."""

    flash_seen: bool = truth("the sensor that sees the flash's light", default=True)
    button: bool = truth("the button that releases a shot", default=True)
