"""The tables of a rig file that say what a shot does: its aim, each drop, and each firing of a flash."""

from __future__ import annotations

from dataclasses import dataclass

from beamfall.setup.file_schema import choice, count, quantity
from beamfall.setup.signals import SignalKind
from beamfall.setup.table import BEAMS

#: What a picture may show: the splash of one drop, or drops that meet.
KINDS = ("crown", "cavity", "jet", "droplet", "collision")
DROPS_MOST = 8
FIRINGS_MOST = 8


@dataclass(frozen=True, slots=True)
class Aim:
    """The keys of [aim]; None leaves a value to the planner."""

    kind: str = choice(
        KINDS,
        default="collision",
        meaning="what the picture shows; all except collision show a single drop",
    )
    drops: int = count(
        1,
        DROPS_MOST,
        default=2,
        meaning="how many drops fall in a shot; each [[drop]] counts as one",
    )
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
        meaning="time from contact to light; for one drop, from the moment that the planner chooses",
    )
    warm_up: int = count(
        0, 10, default=0, meaning="drops that fall before a series, without a flash"
    )


@dataclass(frozen=True, slots=True)
class DropInRig:
    """The keys of [[drop]]; None leaves a value to the valve or the planner."""

    valve: str | None = choice(
        SignalKind.VALVE.names,
        default=None,
        meaning="valve that releases this drop; if left out, the valves take turns",
    )
    opening_s: float | None = quantity(
        "duration",
        0.0005,
        0.5,
        default=None,
        example="13 ms",
        meaning="how long the valve opens for this drop; if left out, the valve's own opening",
    )
    at_s: float | None = quantity(
        "duration",
        0.0,
        4.0,
        default=None,
        example="105 ms",
        meaning="time from opening 1 to this drop's opening; if left out, the planner chooses it",
    )


@dataclass(frozen=True, slots=True)
class Firing:
    """The keys of [[firing]]: with `delay` it has its own time, otherwise it moves with the picture."""

    flash: str = choice(
        SignalKind.FLASH.names, default="flash1", meaning="output of the flash that fires"
    )
    after_s: float = quantity(
        "duration",
        -0.5,
        2.0,
        default=0.0,
        example="30 ms",
        meaning="light this long after the picture's moment; negative: before it",
    )
    delay_s: float | None = quantity(
        "duration",
        0.0,
        4.0,
        default=None,
        example="180 ms",
        meaning="its own delay from its anchor, instead of one that moves with the picture",
    )
    anchor: str | None = choice(
        ("release", *BEAMS),
        default=None,
        meaning="what its own delay counts from; if left out, what the plan's flash follows",
    )
    anchor_count: int | None = count(
        0, 255, default=None, meaning="which counted edge of that beam, from 1; 0 for the release"
    )
    width_s: float | None = quantity(
        "duration",
        1e-5,
        0.02,
        default=None,
        example="2 ms",
        meaning="how long the contact is closed; if left out, the flash's own width",
    )
