"""The tables of a rig file that say what a shot does beyond its aim: each drop, and what each valve holds."""

from __future__ import annotations

from dataclasses import dataclass

from beamfall.setup.file_schema import choice, quantity
from beamfall.setup.signals import SignalKind

DROPS_MOST = 8


@dataclass(frozen=True, slots=True)
class DropInRig:
    """The keys of [[drop]]; None leaves a value to the valve or the planner."""

    valve: str | None = choice(
        SignalKind.VALVE.names,
        default=None,
        meaning="valve that lets this drop fall; the valves take turns where left out",
    )
    opening_s: float | None = quantity(
        "duration",
        0.0005,
        0.5,
        default=None,
        example="13 ms",
        meaning="how long the valve opens for this drop; else the valve's own opening",
    )
    at_s: float | None = quantity(
        "duration",
        0.0,
        4.0,
        default=None,
        example="105 ms",
        meaning="time from opening 1 to this drop's opening; the planner chooses it where left out",
    )
