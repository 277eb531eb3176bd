"""The rig: everything around the dish, as the user's TOML file and as frozen values in SI units.

`rig_sections.py` says which tables and keys a rig file has. `load_rig` reads and checks a file and names everything
that is wrong with it at once.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from functools import cache
from pathlib import Path
from typing import Any, get_args, get_type_hints

from beamfall.errors import KeyProblem, RigFileError
from beamfall.setup.check_shot import check_bottles, check_drops, check_firings, miss_part
from beamfall.setup.file_schema import (
    build_section,
    list_problems,
    list_unknown,
    name_other_kind,
    section_to_dict,
)
from beamfall.setup.rig_sections import (
    Beam,
    Bottle,
    Camera,
    Dish,
    Fitted,
    Flash,
    Light,
    LiquidInRig,
    Site,
    Uncertainty,
    Valve,
)
from beamfall.setup.rig_shot import Aim, DropInRig, Firing
from beamfall.setup.rig_tables import TABLES, TEXTS, ListOf, RigTable
from beamfall.setup.table import BEAMS
from beamfall.setup.toml_file import read_toml
from beamfall.setup.units import show

EXAMPLE = Path(__file__).parents[1] / "examples" / "collision.toml"


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
    light: Light = Light()
    drops: tuple[DropInRig, ...] = ()
    firings: tuple[Firing, ...] = ()
    bottles: tuple[Bottle, ...] = ()

    def find_liquid(self, valve: str) -> LiquidInRig:
        """What a valve lets fall: its own bottle's liquid, else the dish's."""
        return next((one for one in self.bottles if one.valve == valve), self.liquid)

    def list_drops(self) -> tuple[Valve, ...]:
        """The valve of each drop of a shot, in their order, with the opening and latency of that drop.

        A picture of one drop has only the first. A longer opening lets its drop leave later by as much.
        """
        count = self.aim.drops if self.aim.kind == "collision" else 1
        outputs = {valve.output: valve for valve in self.valves}
        found = []
        for number in range(count):
            drop = self.drops[number] if number < len(self.drops) else DropInRig()
            valve = self.valves[number % len(self.valves)]
            if drop.valve is not None:
                valve = outputs.get(drop.valve, valve)
            if drop.opening_s is not None:
                later = drop.opening_s - valve.opening_s
                latency = max(0.0, valve.latency_s + later)
                valve = replace(valve, opening_s=drop.opening_s, latency_s=latency)
            found.append(valve)
        return tuple(found)

    def list_fixed(self) -> tuple[float | None, ...]:
        """The time from opening 1 to each opening that the file sets, in s; None if the planner chooses."""
        fixed = [drop.at_s for drop in self.drops[: self.aim.drops]]
        fixed += [None] * (self.aim.drops - len(fixed))
        if len(fixed) > 1 and fixed[1] is None:
            fixed[1] = self.aim.spacing_s
        return (0.0, *fixed[1:])

    def to_dict(self) -> dict[str, Any]:
        """Return the rig as plain values for JSON, keys with SI units."""
        plain: dict[str, Any] = section_to_dict(self)
        return plain

    @classmethod
    def from_dict(cls, content: Mapping[str, Any]) -> Rig:
        """Rebuild a rig from `to_dict`; fields that this version does not have are left out.

        Raises TypeError for a value of the wrong type, KeyError if the name is missing.
        """
        values: dict[str, Any] = {"name": content["name"], "note": content.get("note", "")}
        if not all(isinstance(text, str) for text in values.values()):
            raise TypeError("name and note are texts")
        for table in TABLES:
            key = table.field
            if table.many:
                values[key] = tuple(_restore(table.kind, entry) for entry in content.get(key, ()))
            elif key in content or key not in _NOT_IN_OLDER_LOGS:
                values[key] = (
                    None if _is_left_out(key, content) else _restore(table.kind, content[key])
                )
        if not values["valves"]:
            raise TypeError("a rig has at least one valve")
        return cls(**values)

    @property
    def digest(self) -> bytes:
        """16 bytes that name this rig's values: of the SHA-256 of the JSON of `to_dict`.

        Default values that older logs do not have are left out, so that the rigs in those logs keep their digest.
        """
        plain = self.to_dict()
        for key in ("drops", "firings", "bottles"):
            if not plain[key]:
                del plain[key]
        if self.light == Light():
            del plain["light"]
        if self.liquid.colour == "clear":
            del plain["liquid"]["colour"]
        text = json.dumps(plain, sort_keys=True, separators=(",", ":"))
        return hashlib.sha256(text.encode()).digest()[:16]

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
    """Return the example rig that comes with Beamfall; the project invented it."""
    return load_rig(EXAMPLE)


def parse_rig(content: Mapping[str, Any], source: str, *, default_name: str = "rig") -> Rig:
    """Check the parsed content of a rig file; `source` names it in messages.

    Raises RigFileError; its `problems` have paths such as `valve[1].height`.
    """
    if "row" in content and "valve" not in content:
        cure = (
            "Check it with `beamfall sequence check`, and fire it with `beamfall shoot --sequence`"
        )
        other = name_other_kind(source, "sequence file", "rig file", cure)
        raise RigFileError(other[0].text, problems=other)
    known = (*TEXTS, *(table.name for table in TABLES))
    problems = list(list_unknown(content, known, ""))
    name = content.get("name", default_name)
    note = content.get("note", "")
    for key, value in (("name", name), ("note", note)):
        if not isinstance(value, str):
            problems.append(_expect(key, value, "text in quotes"))
    values: dict[str, Any] = {"name": name, "note": note}
    for table in sorted(TABLES, key=lambda one: not one.many):
        if table.list_of is not None:
            values[table.field] = _build_list(table, table.list_of, content, problems)
        elif not _is_left_out(table.name, content):
            entry = content.get(table.name, {})
            values[table.name] = build_section(table.kind, entry, table.name, problems)
    if not content.get("valve"):
        expected = "at least one [[valve]]"
        problems.append(
            KeyProblem("valve", None, expected, f"valve: missing; a rig has {expected}")
        )
    if not problems:
        rig = Rig(**values)
        if rig.drops:
            rig = rig.with_aim(drops=len(rig.drops))
        problems = [
            *_check_geometry(rig),
            *check_drops(rig.drops, rig.valves, rig.aim.kind, content.get("aim", {})),
            *check_firings(rig.firings, rig.flashes, rig.beams),
            *check_bottles(rig.bottles, rig.valves),
        ]
        if not problems:
            return rig
    raise RigFileError(list_problems(problems, source, "rig file"), problems=tuple(problems))


def _expect(key: str, found: object, expected: str) -> KeyProblem:
    return KeyProblem(key, found, expected, f"{key} = {show(found)}: expected {expected}")


def _is_left_out(key: str, content: Mapping[str, Any]) -> bool:
    """Whether a rig has no such part: not every rig has a camera."""
    return key == "camera" and content.get(key) is None


def _build_list(
    table: RigTable, of: ListOf, content: Mapping[str, Any], problems: list[KeyProblem]
) -> tuple[Any, ...]:
    """Build the entries of [[name]]; entries that name no line of the board get the lines in order."""
    key, line = table.name, of.line
    entries = content.get(key, [])
    if isinstance(entries, Mapping):
        entries = [entries]
    if not isinstance(entries, list) or not all(isinstance(entry, Mapping) for entry in entries):
        expected = f"a list of tables, each starting with [[{key}]]"
        problems.append(KeyProblem(key, entries, expected, f"{key}: expected {expected}"))
        return ()
    if len(entries) > (of.most or len(of.lines)):
        expected = f"at most {of.most or len(of.lines)}"
        whose = "a shot" if of.most else "a board"
        text = f"{key}: {len(entries)} entries; {whose} has {expected}"
        problems.append(KeyProblem(key, len(entries), expected, text))
        return ()
    built = []
    for index, entry in enumerate(entries):
        path = f"{key}[{index + 1}]"
        where = path if len(entries) > 1 else key
        own = {line: of.lines[index], **entry} if line else entry
        built.append(build_section(table.kind, own, where, problems, path=path))
    if not line:
        return tuple(built)
    used = [getattr(item, line) for item in built if item is not None]
    for name in sorted({name for name in used if used.count(name) > 1}):
        last = len(used) - used[::-1].index(name)
        text = f"{key}: {line} {name} is used twice; give each its own"
        problems.append(KeyProblem(f"{key}[{last}].{line}", name, f"another {line}", text))
    return tuple(built)


def _check_geometry(rig: Rig) -> Iterator[KeyProblem]:
    """Check what single keys cannot show: beams between nozzle and surface, an anchor that exists."""
    lowest = min(valve.height_m for valve in rig.valves)
    for place, beam in enumerate(rig.beams, 1):
        if beam.height_m >= lowest:
            expected = f"less than {lowest * 100:.4g} cm"
            yield KeyProblem(
                f"beam[{place}].height", beam.height_m, expected,
                f"{beam.input}: height is {beam.height_m * 100:.4g} cm, but the lowest nozzle is at "
                f"{lowest * 100:.4g} cm; put the beam below it (measure both from the surface)",
            )  # fmt: skip
    for place, valve in enumerate(rig.valves, 1):
        outer = valve.outer_diameter_m
        if outer is not None and outer < valve.bore_m:
            yield KeyProblem(
                f"valve[{place}].outer_diameter", outer, f"at least {valve.bore_m * 1000:.4g} mm",
                f"{valve.output}: outer_diameter is {outer * 1000:.4g} mm, less than the bore of "
                f"{valve.bore_m * 1000:.4g} mm; measure both at the mouth",
            )  # fmt: skip
    aim = rig.aim
    inputs = {beam.input for beam in rig.beams}
    if aim.anchor in BEAMS and aim.anchor not in inputs:
        yield miss_part("aim.anchor", aim.anchor, "beam", ("release", *sorted(inputs)))
    if aim.anchor in BEAMS and aim.anchor_count == 0:
        yield KeyProblem(
            "aim.anchor_count", 0, "1 or more",
            "aim.anchor_count = 0: the edges of a beam are counted from 1",
        )  # fmt: skip
    if aim.kind == "collision" and aim.drops < 2 and not rig.drops:
        yield KeyProblem(
            "aim.drops", aim.drops, "2 or more",
            f"aim.drops = {aim.drops}: a collision takes at least 2 drops",
        )  # fmt: skip


_SHARES = {"parts", "grams"}
_NOT_IN_OLDER_LOGS = ("fitted", "light")


def _restore(kind: Any, entry: Mapping[str, Any]) -> Any:
    if not isinstance(entry, Mapping):
        raise TypeError(f"{kind.__name__} is no table")
    values = {key: entry[key] for key in kind.__dataclass_fields__ if key in entry}
    for key in _SHARES & values.keys():
        values[key] = tuple((str(name), float(share)) for name, share in values[key])
    hints = get_type_hints(kind)
    for key, value in values.items():
        wanted = get_args(hints[key]) or (hints[key],)
        if key not in _SHARES and not any(_fits(value, one) for one in wanted):
            raise TypeError(f"{key} = {value!r} has the wrong type")
    return kind(**values)


def _fits(value: object, wanted: type) -> bool:
    if wanted in (int, float) and isinstance(value, bool):
        return False
    return isinstance(value, int | float if wanted is float else wanted)
