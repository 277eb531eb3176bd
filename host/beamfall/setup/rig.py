"""The rig: what hangs above the dish, as a TOML file of the user's and as frozen values in SI units.

Each table of the file is a dataclass here and each key a field of it; the field's name carries the
SI unit (`height_m`), the file's key does not (`height = "48 cm"`). `load_rig` reads and checks a
file and names everything that is wrong with it at once.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from functools import cache
from pathlib import Path
from typing import Any

from beamfall.errors import KeyProblem, RigFileError
from beamfall.setup.file_schema import (
    build_section,
    choice,
    count,
    describe_unknown,
    list_problems,
    number,
    quantity,
    section_to_dict,
    shares,
    text,
    truth,
)
from beamfall.setup.signals import SignalKind
from beamfall.setup.table import BEAMS
from beamfall.setup.toml_file import read_toml
from beamfall.setup.units import show

EXAMPLE = Path(__file__).parents[1] / "examples" / "collision.toml"
_VALVES, _FLASHES = SignalKind.VALVE.names, SignalKind.FLASH.names


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
        meaning="air pressure of the weather report, reduced to sea level",
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
    discharge: float = number(
        0.2, 1.0, default=0.61, meaning="discharge coefficient: real flow over ideal flow"
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
        meaning="from the command to the drop leaving the nozzle; a guess until calibrated",
    )
    place_m: float = quantity(
        "length",
        -0.5,
        0.5,
        default=0.0,
        example="5 cm",
        meaning="place along the dish, from the picture's middle",
    )


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
        ("dark", "clear"), default="dark", meaning="edge that counts: the drop enters, or leaves"
    )
    blanking_s: float = quantity(
        "duration",
        0.0,
        1.0,
        default=0.0,
        example="20 ms",
        meaning="how long edges are ignored after one that counts, against satellite drops",
    )
    dwell_s: float = quantity(
        "duration",
        0.0,
        0.05,
        default=0.0,
        example="0.5 ms",
        meaning="shortest time in the beam that counts as a drop",
    )
    place_m: float = quantity(
        "length",
        -0.5,
        0.5,
        default=0.0,
        example="5 cm",
        meaning="place along the dish, from the picture's middle",
    )


@dataclass(frozen=True, slots=True)
class Flash:
    """The keys of [[flash]]."""

    output: str = choice(_FLASHES, default="flash1", meaning="output of the board")
    latency_s: float = quantity(
        "duration", 0.0, 0.05, default=50e-6, meaning="from the contact to the light"
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
    """The keys of [camera]. Magnification, aperture and pixel serve to estimate blur and depth of field."""

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
    magnification: float = number(
        0.01, 10.0, default=0.5, meaning="size on the sensor over size in the scene"
    )
    aperture: float = number(0.7, 64.0, default=16.0, meaning="f-number of the lens: 16 for f/16")
    pixel_m: float = quantity(
        "length", 5e-7, 5e-5, default=4e-6, meaning="width of a pixel on the sensor"
    )


@dataclass(frozen=True, slots=True)
class Aim:
    """The keys of [aim]; None leaves a value to the planner."""

    kind: str = choice(
        ("crown", "jet", "collision"), default="collision", meaning="what the picture shows"
    )
    drops: int = count(1, 8, default=2, meaning="how many drops fall in a shot")
    spacing_s: float | None = quantity(
        "duration",
        0.005,
        2.0,
        default=None,
        example="110 ms",
        meaning="time from opening 1 to opening 2",
    )
    flash_delay_s: float | None = quantity(
        "duration",
        0.0,
        4.0,
        default=None,
        example="8 ms",
        meaning="time from the anchor's edge to the flash",
    )
    anchor: str | None = choice(
        ("release", *BEAMS), default=None, meaning="what the flash follows: the release or a beam"
    )
    anchor_count: int | None = count(
        0, 255, default=None, meaning="which counted edge of that beam, from 1; 0 for the release"
    )
    window_s: float = quantity(
        "duration",
        0.01,
        5.0,
        default=1.5,
        meaning="the drops must cross the beams within this time",
    )
    tail_s: float = quantity(
        "duration",
        0.0,
        2.0,
        default=0.05,
        meaning="how long edges are recorded after the last output",
    )
    rest_s: float = quantity(
        "duration", 0.0, 600.0, default=5.0, meaning="time between shots for the surface to settle"
    )
    stage_s: float | None = quantity(
        "duration",
        0.0,
        0.2,
        default=None,
        example="2 ms",
        meaning="time from contact to light; for a crown or jet from the moment the planner chooses",
    )
    warm_up: int = count(
        0, 10, default=0, meaning="drops that fall before a series, without a flash"
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
class Fitted:
    """The keys of [fitted]."""

    flash_seen: bool = truth(default=True, meaning="the sensor that sees the flash's light")
    button: bool = truth(default=True, meaning="the button that releases a shot")


@dataclass(frozen=True, slots=True)
class RigTable:
    """A table of a rig file: its name, the dataclass of its keys, and what it is; `many`: [[name]]."""

    name: str
    kind: Any
    meaning: str
    many: bool = False


TABLES = (
    RigTable("valve", Valve, "A valve, its nozzle and its bottle; one table for each valve.", True),
    RigTable("beam", Beam, "An infrared beam across the fall path; one table for each beam.", True),
    RigTable("flash", Flash, "A flash in manual mode; one table for each flash.", True),
    RigTable("camera", Camera, "A camera on bulb; leave the table out where there is none."),
    RigTable("dish", Dish, "The dish under the nozzle."),
    RigTable(
        "liquid", LiquidInRig, "The liquid of drops and dish. Measured values win over the name's."
    ),
    RigTable("aim", Aim, "What the picture is to show. Timings set here replace the planner's."),
    RigTable("site", Site, "Where the rig stands."),
    RigTable("uncertainty", Uncertainty, "How far off the figures may be: standard deviations."),
    RigTable("fitted", Fitted, "What else the controller has; false for what was not built."),
)
TEXTS = {"name": "name of the rig; else that of the file", "note": "anything worth remembering"}


@dataclass(frozen=True, slots=True)
class Rig:
    """A whole rig. Heights are above the surface of the liquid. Hashable."""

    name: str
    valves: tuple[Valve, ...]
    beams: tuple[Beam, ...]
    flashes: tuple[Flash, ...]
    dish: Dish
    liquid: LiquidInRig
    site: Site
    aim: Aim
    uncertainty: Uncertainty
    camera: Camera | None = None
    note: str = ""
    fitted: Fitted = Fitted()

    def to_dict(self) -> dict[str, Any]:
        """Return the rig as plain values for JSON, keys with SI units."""
        plain: dict[str, Any] = section_to_dict(self)
        return plain

    @classmethod
    def from_dict(cls, content: Mapping[str, Any]) -> Rig:
        """Rebuild a rig from `to_dict`; fields that this version does not have are left out."""
        lists = {"valves": Valve, "beams": Beam, "flashes": Flash}
        sections = {
            "dish": Dish,
            "liquid": LiquidInRig,
            "site": Site,
            "aim": Aim,
            "uncertainty": Uncertainty,
            "camera": Camera,
        }
        if "fitted" in content:
            sections["fitted"] = Fitted
        values: dict[str, Any] = {"name": content["name"], "note": content.get("note", "")}
        for key, kind in lists.items():
            values[key] = tuple(_restore(kind, entry) for entry in content.get(key, ()))
        for key, kind in sections.items():
            entry = content.get(key)
            values[key] = None if entry is None else _restore(kind, entry)
        return cls(**values)

    @property
    def digest(self) -> bytes:
        """16 bytes that name this rig's values: of the SHA-256 of the JSON of `to_dict`."""
        plain = json.dumps(self.to_dict(), sort_keys=True, separators=(",", ":"))
        return hashlib.sha256(plain.encode()).digest()[:16]

    def with_aim(self, **changes: Any) -> Rig:
        """The same rig with values of `aim` changed."""
        return replace(self, aim=replace(self.aim, **changes))


def load_rig(path: str | Path | None = None) -> Rig:
    """Read and check a rig file; None gives the example rig.

    Raises RigFileError listing every wrong key with its value and what is expected.
    """
    if path is None:
        return example_rig()
    file = Path(path)
    missing = f"leave RIG out to use the example rig {EXAMPLE}"
    content = read_toml(file, "rig file", RigFileError, missing=missing)
    return parse_rig(content, str(file), default_name=file.stem)


@cache
def example_rig() -> Rig:
    """Return the example rig that comes with Beamfall, of the project's own invention."""
    return load_rig(EXAMPLE)


def parse_rig(content: Mapping[str, Any], source: str, *, default_name: str = "rig") -> Rig:
    """Check the parsed content of a rig file; `source` names it in messages.

    Raises RigFileError; its `problems` have paths such as `valve[1].height`.
    """
    known = (*TEXTS, *(table.name for table in TABLES))
    problems = [describe_unknown(key, known, "") for key in content if key not in known]
    name = content.get("name", default_name)
    note = content.get("note", "")
    for key, value in (("name", name), ("note", note)):
        if not isinstance(value, str):
            problems.append(_expect(key, value, "text in quotes"))
    valves = _build_list(Valve, content, "valve", problems)
    beams = _build_list(Beam, content, "beam", problems)
    flashes = _build_list(Flash, content, "flash", problems)
    sections = {
        key: build_section(kind, content.get(key, {}), key, problems)
        for key, kind in (
            ("dish", Dish),
            ("liquid", LiquidInRig),
            ("site", Site),
            ("aim", Aim),
            ("uncertainty", Uncertainty),
            ("fitted", Fitted),
        )
    }
    camera = None
    if "camera" in content:
        camera = build_section(Camera, content["camera"], "camera", problems)
    if not content.get("valve"):
        expected = "at least one [[valve]]"
        problems.append(
            KeyProblem("valve", None, expected, f"valve: missing; a rig has {expected}")
        )
    if not problems:
        rig = Rig(name, valves, beams, flashes, camera=camera, note=note, **sections)
        problems = list(_check_geometry(rig))
        if not problems:
            return rig
    raise RigFileError(list_problems(problems, source, "rig file"), problems=tuple(problems))


def _expect(key: str, found: object, expected: str) -> KeyProblem:
    return KeyProblem(key, found, expected, f"{key} = {show(found)}: expected {expected}")


def _build_list(
    kind: type, content: Mapping[str, Any], key: str, problems: list[KeyProblem]
) -> tuple[Any, ...]:
    """Build the entries of [[key]]; entries that name no line of the board get the lines in order."""
    entries = content.get(key, [])
    if isinstance(entries, Mapping):
        entries = [entries]
    if not isinstance(entries, list) or not all(isinstance(entry, Mapping) for entry in entries):
        expected = f"a list of tables, each begun with [[{key}]]"
        problems.append(KeyProblem(key, entries, expected, f"{key}: expected {expected}"))
        return ()
    line = "input" if key == "beam" else "output"
    names = {"valve": _VALVES, "beam": BEAMS, "flash": _FLASHES}[key]
    if len(entries) > len(names):
        expected = f"at most {len(names)}"
        text = f"{key}: {len(entries)} entries; a board has {expected}"
        problems.append(KeyProblem(key, len(entries), expected, text))
        return ()
    built = []
    for index, entry in enumerate(entries):
        path = f"{key}[{index + 1}]"
        where = path if len(entries) > 1 else key
        own = {line: names[index], **entry}
        built.append(build_section(kind, own, where, problems, path=path))
    used = [getattr(item, line) for item in built if item is not None]
    for name in sorted({name for name in used if used.count(name) > 1}):
        last = len(used) - used[::-1].index(name)
        text = f"{key}: {line} {name} is used twice; give each its own"
        problems.append(KeyProblem(f"{key}[{last}].{line}", name, f"another {line}", text))
    return tuple(built)


def _check_geometry(rig: Rig) -> Iterator[KeyProblem]:
    """What single keys cannot show: beams between nozzle and surface, an anchor that exists."""
    lowest = min(valve.height_m for valve in rig.valves)
    for place, beam in enumerate(rig.beams, 1):
        if beam.height_m >= lowest:
            expected = f"less than {lowest * 100:.4g} cm"
            yield KeyProblem(
                f"beam[{place}].height", beam.height_m, expected,
                f"beam {beam.input}: height is {beam.height_m * 100:.4g} cm, but the lowest nozzle is at "
                f"{lowest * 100:.4g} cm; put the beam below it (measure both from the surface)",
            )  # fmt: skip
    for place, valve in enumerate(rig.valves, 1):
        outer = valve.outer_diameter_m
        if outer is not None and outer < valve.bore_m:
            yield KeyProblem(
                f"valve[{place}].outer_diameter", outer, f"at least {valve.bore_m * 1000:.4g} mm",
                f"valve {valve.output}: outer_diameter is {outer * 1000:.4g} mm, less than the bore of "
                f"{valve.bore_m * 1000:.4g} mm; measure both at the mouth",
            )  # fmt: skip
    aim = rig.aim
    inputs = {beam.input for beam in rig.beams}
    if aim.anchor in BEAMS and aim.anchor not in inputs:
        yield KeyProblem(
            "aim.anchor", aim.anchor, "a beam of the rig",
            f"aim.anchor = '{aim.anchor}': the rig has no such beam; add a [[beam]]",
        )  # fmt: skip
    if aim.anchor in BEAMS and aim.anchor_count == 0:
        yield KeyProblem(
            "aim.anchor_count", 0, "1 or more",
            "aim.anchor_count = 0: the edges of a beam are counted from 1",
        )  # fmt: skip
    if aim.kind == "collision" and aim.drops < 2:
        yield KeyProblem(
            "aim.drops", aim.drops, "2 or more",
            f"aim.drops = {aim.drops}: a collision takes at least 2 drops",
        )  # fmt: skip


def _restore(kind: Any, entry: Mapping[str, Any]) -> Any:
    values = {key: entry[key] for key in kind.__dataclass_fields__ if key in entry}
    if "parts" in values:
        values["parts"] = tuple((name, share) for name, share in values["parts"])
    return kind(**values)
