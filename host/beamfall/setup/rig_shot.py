"""The tables of a rig file that say what a shot does: its aim, each drop, and each firing of a flash."""

from __future__ import annotations

from dataclasses import dataclass

from beamfall.setup.file_schema import choice, count, duration
from beamfall.setup.signals import SignalKind
from beamfall.setup.table import BEAMS

#: What a picture may show: the splash of one drop, or drops that meet.
KINDS = ("crown", "cavity", "jet", "droplet", "collision")
DROPS_MOST = 8
FIRINGS_MOST = 8


@dataclass(frozen=True, slots=True)
class Aim:
    """The keys of [aim].

    None leaves a value to the planner.
    """

    kind: str = choice(
        KINDS,
        "what the picture shows; all except collision show a single drop",
        default="collision",
    )
    drops: int = count(
        1, DROPS_MOST, "how many drops fall in a shot; each [[drop]] counts as one", default=2
    )
    spacing_s: float | None = duration(
        0.005, 2.0, "time from opening 1 to opening 2", default=None, example="110 ms"
    )
    flash_delay_s: float | None = duration(
        0.0, 4.0, "time from the anchor's edge to the flash", default=None, example="8 ms"
    )
    anchor: str | None = choice(
        ("release", *BEAMS),
        "what the flash follows: the release or a beam; if left out, the planner chooses",
        default=None,
    )
    anchor_count: int | None = count(
        0, 255, "which counted edge of that beam, from 1; 0 for the release", default=None
    )
    window_s: float = duration(
        0.01, 5.0, "the drops must cross the beams within this time", default=1.5
    )
    tail_s: float = duration(
        0.0, 2.0, "how long edges are recorded after the last output", default=0.05
    )
    rest_s: float = duration(
        0.0, 600.0, "time between shots for the surface to settle", default=5.0
    )
    stage_s: float | None = duration(
        0.0,
        0.2,
        "time from contact to light; for one drop, from the moment that the planner chooses",
        default=None,
        example="2 ms",
    )
    warm_up: int = count(0, 10, "drops that fall before a series, without a flash", default=0)


@dataclass(frozen=True, slots=True)
class DropInRig:
    """The keys of [[drop]].

    None leaves a value to the valve or the planner.
    """

    valve: str | None = choice(
        SignalKind.VALVE.names,
        "valve that releases this drop; if left out, the valves take turns",
        default=None,
    )
    opening_s: float | None = duration(
        0.0005,
        0.5,
        "how long the valve opens for this drop; if left out, the valve's own opening",
        default=None,
        example="13 ms",
    )
    at_s: float | None = duration(
        0.0,
        4.0,
        "time from opening 1 to this drop's opening; if left out, the planner chooses it",
        default=None,
        example="105 ms",
    )


@dataclass(frozen=True, slots=True)
class Firing:
    """The keys of [[firing]].

    With `delay` it has its own time, otherwise it moves with the picture.
    """

    flash: str = choice(SignalKind.FLASH.names, "output of the flash that fires", default="flash1")
    after_s: float = duration(
        -0.5,
        2.0,
        "light this long after the picture's moment; negative: before it",
        default=0.0,
        example="30 ms",
    )
    delay_s: float | None = duration(
        0.0,
        4.0,
        "its own delay from its anchor, instead of one that moves with the picture",
        default=None,
        example="180 ms",
    )
    anchor: str | None = choice(
        ("release", *BEAMS),
        "what its own delay counts from; if left out, what the plan's flash follows",
        default=None,
    )
    anchor_count: int | None = count(
        0, 255, "which counted edge of that beam, from 1; 0 for the release", default=None
    )
    width_s: float | None = duration(
        1e-5,
        0.02,
        "how long the contact is closed; if left out, the flash's own width",
        default=None,
        example="2 ms",
    )
