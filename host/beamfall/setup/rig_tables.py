"""The tables and keys of a rig file, as data: the meaning, range and default of each, in the order that people see.

`rig_sections` and `rig_shot` define them, field by field; the page's form and `beamfall rig keys` show them.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import MISSING, dataclass, fields
from typing import Any

from beamfall.setup.file_schema import Rule, file_key, rule_of
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
from beamfall.setup.rig_shot import DROPS_MOST, FIRINGS_MOST, Aim, DropInRig, Firing
from beamfall.setup.signals import SignalKind
from beamfall.setup.table import BEAMS
from beamfall.setup.unit_kinds import KINDS
from beamfall.setup.unit_words import format_quantity


@dataclass(frozen=True, slots=True)
class ListOf:
    """A list of tables: its field in `Rig`, and the key that names one of the board's `lines`, or how many at most."""

    field: str
    line: str = ""
    lines: tuple[str, ...] = ()
    most: int = 0


_LISTS = {
    "valve": ListOf("valves", "output", SignalKind.VALVE.names),
    "beam": ListOf("beams", "input", BEAMS),
    "flash": ListOf("flashes", "output", SignalKind.FLASH.names),
    "drop": ListOf("drops", most=DROPS_MOST),
    "firing": ListOf("firings", most=FIRINGS_MOST),
    "bottle": ListOf("bottles", "valve", SignalKind.VALVE.names),
}


@dataclass(frozen=True, slots=True)
class RigTable:
    """A table of a rig file: its name, the dataclass of its keys, and what it is, in words."""

    name: str
    kind: Any
    meaning: str

    @property
    def list_of(self) -> ListOf | None:
        """For [[name]]: which list."""
        return _LISTS.get(self.name)

    @property
    def many(self) -> bool:
        """Whether it is [[name]]."""
        return self.name in _LISTS

    @property
    def field(self) -> str:
        """Its field in `Rig`."""
        return _LISTS[self.name].field if self.many else self.name


TABLES = (
    RigTable("valve", Valve, "A valve, its nozzle and its bottle; one table for each valve."),
    RigTable("beam", Beam, "An infrared beam across the fall path; one table for each beam."),
    RigTable("flash", Flash, "A flash in manual mode; one table for each flash."),
    RigTable(
        "drop", DropInRig, "A drop of the shot. If all drops are alike, leave these tables out."
    ),
    RigTable(
        "firing",
        Firing,
        "One firing of a flash. Without these tables each flash fires once, for the picture.",
    ),
    RigTable("camera", Camera, "The camera. If there is none, leave this table out."),
    RigTable("dish", Dish, "The dish under the nozzle."),
    RigTable(
        "liquid",
        LiquidInRig,
        "The liquid of drops and dish. Measured values override those of the name.",
    ),
    RigTable(
        "bottle",
        Bottle,
        "The liquid of one valve's bottle, if it is not the dish's; one table for each such valve.",
    ),
    RigTable("aim", Aim, "What the picture should show. Timings set here replace the planner's."),
    RigTable("light", Light, "The light behind the dish, for the simulated picture."),
    RigTable("site", Site, "Where the rig stands."),
    RigTable("uncertainty", Uncertainty, "How far off the figures may be: standard deviations."),
    RigTable(
        "fitted", Fitted, "What else the controller has; false for parts that were not built."
    ),
)
TEXTS = {"name": "name of the rig; default: the file's name", "note": "anything worth remembering"}


@dataclass(frozen=True, slots=True)
class RigKey:
    """One key of a rig file.

    `table` is empty at the top of the file. `default` is written as in a file, empty if there is none:
    the key is then `needed`, or the planner or the liquid's name decides.
    """

    table: str
    key: str
    rule: Rule
    default: str = ""
    needed: bool = False

    @property
    def meaning(self) -> str:
        """What the key is, in words."""
        return self.rule.meaning

    @property
    def expected(self) -> str:
        """What the key may hold, in words: `a length from 2 cm to 5 m`."""
        return self.rule.expected

    @property
    def example(self) -> str:
        """A value that fits; empty if the options or the default are example enough."""
        return self.rule.example or ("" if self.rule.kind in ("choice", "truth") else self.default)

    def to_json(self) -> dict[str, Any]:
        """For programs: limits in SI, null if there are none."""
        rule = self.rule
        limited = rule.kind in KINDS or rule.kind in ("number", "count")
        return {
            "table": self.table,
            "key": self.key,
            "meaning": self.meaning,
            "kind": rule.kind,
            "unit": KINDS[rule.kind].si_unit if rule.kind in KINDS else None,
            "low": rule.low if limited else None,
            "high": rule.high if limited else None,
            "options": list(rule.options),
            "default": self.default or None,
            "needed": self.needed,
            "example": self.example or None,
        }


def list_keys(table: RigTable) -> list[RigKey]:
    """The keys of one table, in the order in which they are best filled in."""
    return [
        RigKey(
            table.name,
            file_key(item),
            rule_of(item),
            ""
            if item.default in (MISSING, None, ())
            else write_default(item.default, rule_of(item)),
            item.default is MISSING,
        )
        for item in fields(table.kind)
    ]


def list_all_keys() -> list[RigKey]:
    """Every key of a rig file, those at its top first."""
    top = [RigKey("", key, Rule("text", meaning=meaning)) for key, meaning in TEXTS.items()]
    return top + [key for table in TABLES for key in list_keys(table)]


def find_table(name: str) -> RigTable | None:
    """The table of that name; None if a rig file has none."""
    return next((table for table in TABLES if table.name == name), None)


def write_default(value: Any, rule: Rule) -> str:
    """A default, given in SI, as a user would write it."""
    return format_quantity(value, rule.kind) if rule.kind in KINDS else write_value(value)


def write_value(value: Any) -> str:
    """A value of a file as text for a form, without quotes."""
    if isinstance(value, Mapping):
        return "{ " + ", ".join(f"{name} = {share}" for name, share in value.items()) + " }"
    return f"{value}".lower() if isinstance(value, bool) else f"{value}"
