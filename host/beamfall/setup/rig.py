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
from beamfall.setup.limits import BEAMS
from beamfall.setup.signals import SignalKind
from beamfall.setup.toml_file import read_toml
from beamfall.setup.units import show

_TABLES = (
    *("site", "liquid", "dish", "valve", "beam", "flash", "camera", "aim"),
    *("uncertainty", "fitted"),
)
EXAMPLE = Path(__file__).parents[1] / "examples" / "collision.toml"
_VALVES, _FLASHES = SignalKind.VALVE.names, SignalKind.FLASH.names


@dataclass(frozen=True, slots=True)
class Site:
    """Where the rig stands. The pressure is that of the weather report, reduced to sea level."""

    air_temperature_k: float = quantity("temperature", 253.15, 323.15, default=293.15)
    air_pressure_pa: float = quantity("pressure", 60e3, 110e3, default=101325.0)
    altitude_m: float = quantity("length", -430.0, 5000.0, default=0.0, example="150 m")
    latitude_deg: float = quantity("angle", -90.0, 90.0, default=45.0)


@dataclass(frozen=True, slots=True)
class LiquidInRig:
    """The liquid, of drops and dish: a name, or `parts` of several (by volume); what is measured wins.

    Names are those of `beamfall.physics.liquids`, which checks them.
    """

    name: str = text(default="water")
    parts: tuple[tuple[str, float], ...] = shares(default=())
    temperature_k: float = quantity("temperature", 273.15, 333.15, default=293.15)
    density_kg_m3: float | None = quantity("density", 600.0, 2000.0, default=None)
    viscosity_pa_s: float | None = quantity("viscosity", 1e-4, 1.0, default=None)
    surface_tension_n_m: float | None = quantity("surface_tension", 5e-3, 0.1, default=None)


@dataclass(frozen=True, slots=True)
class Dish:
    """The dish: how deep the liquid stands in it."""

    depth_m: float = quantity("length", 0.0005, 1.0, example="25 mm")
    diameter_m: float | None = quantity("length", 0.02, 5.0, default=None, example="24 cm")


@dataclass(frozen=True, slots=True)
class Valve:
    """A valve and its nozzle.

    `height_m` of the nozzle's mouth above the liquid; `bore_m` inside, `outer_diameter_m` the mouth
    outside; `head_m` of the Mariotte bottle: the air inlet above the mouth. `opening_s` for one
    drop. `latency_s` from the command to the drop coming free, a guess until calibrated. `place_m`
    along the dish from the middle of the picture: valves within 5 mm of each other share a place,
    and their drops meet.
    """

    output: str = choice(_VALVES, default="valve1")
    height_m: float = quantity("length", 0.02, 5.0, example="60 cm")
    bore_m: float = quantity("length", 0.0002, 0.01, example="2 mm")
    outer_diameter_m: float | None = quantity("length", 0.0002, 0.02, default=None, example="3 mm")
    head_m: float = quantity("length", 0.005, 2.0, example="10 cm")
    discharge: float = number(0.2, 1.0, default=0.61)
    lag_s: float = quantity("duration", 0.0, 0.1, default=0.0, example="2 ms")
    opening_s: float = quantity("duration", 0.0005, 0.5, example="13 ms")
    latency_s: float = quantity("duration", 0.0, 0.5, example="22 ms")
    place_m: float = quantity("length", -0.5, 0.5, default=0.0, example="5 cm")


@dataclass(frozen=True, slots=True)
class Beam:
    """A beam: `height_m` above the liquid, `width_m` along the fall, `offset_m` of the fall line from it.

    `edge` is which of its edges counts; `blanking_s` and `dwell_s` as in a sequence. It sees the
    drops that fall within 5 mm of its `place_m`.
    """

    input: str = choice(BEAMS, default="beam1")
    height_m: float = quantity("length", 0.005, 5.0, example="47 cm")
    width_m: float = quantity("length", 0.0, 0.05, default=0.001)
    offset_m: float = quantity("length", 0.0, 0.02, default=0.0, example="1 mm")
    edge: str = choice(("dark", "clear"), default="dark")
    blanking_s: float = quantity("duration", 0.0, 1.0, default=0.0, example="20 ms")
    dwell_s: float = quantity("duration", 0.0, 0.05, default=0.0, example="0.5 ms")
    place_m: float = quantity("length", -0.5, 0.5, default=0.0, example="5 cm")


@dataclass(frozen=True, slots=True)
class Flash:
    """A flash in manual mode: `latency_s` contact to light, `duration_s` of the light (t0.5).

    `contact_s`: how long the contact is closed. `recycle_s`: time until it can fire again.
    """

    output: str = choice(_FLASHES, default="flash1")
    latency_s: float = quantity("duration", 0.0, 0.05, default=50e-6)
    duration_s: float = quantity("duration", 1e-7, 0.05, default=50e-6)
    contact_s: float = quantity("duration", 1e-5, 0.02, default=0.002)
    recycle_s: float = quantity("duration", 0.0, 60.0, default=1.0)


@dataclass(frozen=True, slots=True)
class Camera:
    """A camera on bulb: focus contact this long before the release, shutter contact this long before.

    `hold_s`: how long the shutter stays open after the last flash. Pixel and aperture serve blur and
    depth of field.
    """

    focus_lead_s: float = quantity("duration", 0.0, 10.0, default=0.0, example="300 ms")
    shutter_lead_s: float = quantity("duration", 0.0, 5.0, default=0.1)
    hold_s: float = quantity("duration", 0.0, 5.0, default=0.1)
    magnification: float = number(0.01, 10.0, default=0.5)
    aperture: float = number(0.7, 64.0, default=16.0)
    pixel_m: float = quantity("length", 5e-7, 5e-5, default=4e-6)


@dataclass(frozen=True, slots=True)
class Aim:
    """What the picture is to show, and values that the user sets instead of the planner.

    `kind`: crown, jet or collision; None for a value leaves it to the planner. `flash_delay_s`
    counts from edge `anchor_count` of beam `anchor`. `stage_s`: how long after the contact the light
    is to come (of a crown or jet: after the moment the planner takes for it). `warm_up`: drops let
    fall before a series, without flash.
    """

    kind: str = choice(("crown", "jet", "collision"), default="collision")
    drops: int = count(1, 8, default=2)
    spacing_s: float | None = quantity("duration", 0.005, 2.0, default=None, example="110 ms")
    flash_delay_s: float | None = quantity("duration", 0.0, 4.0, default=None, example="8 ms")
    anchor: str | None = choice(("release", *BEAMS), default=None)
    anchor_count: int | None = count(0, 255, default=None)
    window_s: float = quantity("duration", 0.01, 5.0, default=1.5)
    tail_s: float = quantity("duration", 0.0, 2.0, default=0.05)
    rest_s: float = quantity("duration", 0.0, 600.0, default=5.0)
    stage_s: float | None = quantity("duration", 0.0, 0.2, default=None, example="2 ms")
    warm_up: int = count(0, 10, default=0)


@dataclass(frozen=True, slots=True)
class Uncertainty:
    """How far off the figures above may be: standard deviations.

    `latency_s`, `height_m` and `volume` (a share) are of what is not known; the `scatter` ones are
    from drop to drop.
    """

    latency_s: float = quantity("duration", 0.0, 0.1, default=2e-3)
    height_m: float = quantity("length", 0.0, 0.1, default=2e-3)
    volume: float = quantity("fraction", 0.0, 1.0, default=0.15)
    latency_scatter_s: float = quantity("duration", 0.0, 0.05, default=2e-4)
    volume_scatter: float = quantity("fraction", 0.0, 0.5, default=0.01)


@dataclass(frozen=True, slots=True)
class Fitted:
    """What the controller has beside valves, beams and flashes; false for what was not built.

    `flash_seen`: the sensor that sees the flash's light. `button`: the button that releases a shot.
    """

    flash_seen: bool = truth(default=True)
    button: bool = truth(default=True)


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
    known = ("name", "note", *_TABLES)
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
