"""The tables that a rig file may have, in the order in which people see them."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from beamfall.setup.rig_sections import (
    Aim,
    Beam,
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
from beamfall.setup.rig_shot import DropInRig, Firing


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
    RigTable(
        "drop", DropInRig, "A drop of the shot; leave all out for drops that are alike.", True
    ),
    RigTable(
        "firing",
        Firing,
        "A flash that fires; leave all out to fire each flash once, for the picture.",
        True,
    ),
    RigTable("camera", Camera, "The camera; leave the table out where there is none."),
    RigTable("dish", Dish, "The dish under the nozzle."),
    RigTable(
        "liquid", LiquidInRig, "The liquid of drops and dish. Measured values win over the name's."
    ),
    RigTable("aim", Aim, "What the picture should show. Timings set here replace the planner's."),
    RigTable("light", Light, "The light behind the dish, for the simulated picture."),
    RigTable("site", Site, "Where the rig stands."),
    RigTable("uncertainty", Uncertainty, "How far off the figures may be: standard deviations."),
    RigTable("fitted", Fitted, "What else the controller has; false for what was not built."),
)
TEXTS = {"name": "name of the rig; else that of the file", "note": "anything worth remembering"}
