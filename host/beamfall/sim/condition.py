"""The condition of a simulated rig's parts: what is plugged in, stuck, asleep or wrong.

The defaults describe a rig in good order. A fault (see `faults`) changes some of them, and the rig (see `defects`)
then behaves like one with such parts. The host does not know any of this.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any

from beamfall.setup.sequence import Sequence
from beamfall.setup.signals import SignalKind


@dataclass
class BeamCondition:
    """A beam: emitter, receiver, the way between them and the wire to the board."""

    connected: bool = True  # the receiver's wire has contact
    plug_in: bool = True  # what the plugs look like
    emitter_lit: bool = True
    path_free: bool = True  # nothing is between emitter and receiver
    ambient: bool = False  # other light keeps the receiver lit unless something covers it
    shorted: bool = False  # the wire always reads clear
    inverted: bool = False  # dark and clear are swapped
    loose_s: float = math.inf  # mean time between interruptions of a loose contact


@dataclass
class ValveCondition:
    """A valve with its nozzle. `plunger`: free, closed or open (stuck so)."""

    connected: bool = True
    plug_in: bool = True
    plunger: str = "free"
    nozzle_open: bool = True
    nozzle_off: bool = False
    tube_open: bool = True
    leak_s: float = math.inf  # mean time between drops that fall by themselves


@dataclass
class BottleCondition:
    """The bottle: `filled` with liquid; `inlet_open` lets air in, otherwise suction grows with each drop.

    `flow` is the fraction of the full flow, `fades` the fraction of `flow` that remains after each drop.
    """

    filled: bool = True
    inlet_open: bool = True
    cap_open: bool = False
    flow: float = 1.0
    fades: float = 1.0


@dataclass
class FlashCondition:
    """A flash: its switch, its sleep, its mode (manual or automatic) and its cable."""

    powered: bool = True
    asleep: bool = False
    manual: bool = True
    cable: bool = True


@dataclass
class SupplyCondition:
    """The valves' supply: whether it is on, and whether and how far it sags when a valve opens."""

    on: bool = True
    ohm: float = 0.0  # more than a good one has
    dims_beam: bool = False
    restart_share: float = 0.0  # of the openings at which the board restarts


@dataclass
class ButtonCondition:
    """The button's wiring."""

    connected: bool = True
    inverted: bool = False


Settings = Callable[[Sequence], Sequence]


def _one_each(part: type, kind: SignalKind) -> Any:
    return field(default_factory=lambda: tuple(part() for _ in kind.signals))


@dataclass
class Condition:
    """The whole rig. `wires`: the device that an output really leads to, if it is the wrong one."""

    beams: tuple[BeamCondition, ...] = _one_each(BeamCondition, SignalKind.BEAM)
    valves: tuple[ValveCondition, ...] = _one_each(ValveCondition, SignalKind.VALVE)
    flashes: tuple[FlashCondition, ...] = _one_each(FlashCondition, SignalKind.FLASH)
    bottle: BottleCondition = field(default_factory=BottleCondition)
    supply: SupplyCondition = field(default_factory=SupplyCondition)
    button: ButtonCondition = field(default_factory=ButtonCondition)
    light_sensor: bool = True
    camera_cable: bool = True
    wires: dict[str, str] = field(default_factory=dict)  # "valve1": "flash1"
    satellite_lags_s: tuple[float, ...] = ()  # behind each drop, at the beam
    usb_holds_s: float = math.inf  # mean time between drop-outs of the USB line
    firmware: str = ""  # "protocol" or "definition": how the board's firmware differs
    settings: Settings | None = None  # what the photographer has set differently from the plan
