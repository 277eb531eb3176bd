"""The tables that a rig file may have, in the order in which people see them."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

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
    """A table of a rig file: its name, the dataclass of its keys, and what it is."""

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
