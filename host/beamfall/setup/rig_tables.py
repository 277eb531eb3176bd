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
from beamfall.setup.rig_shot import Aim, DropInRig, Firing


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
        "drop",
        DropInRig,
        "A drop of the shot. If all drops are alike, leave these tables out.",
        True,
    ),
    RigTable(
        "firing",
        Firing,
        "One firing of a flash. Without these tables each flash fires once, for the picture.",
        True,
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
        True,
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
