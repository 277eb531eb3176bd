"""Faults of the simulated rig, by name: `sim?fault=NAME`, or several: `sim?fault=NAME,NAME`.

A fault changes the condition of parts, and sometimes the rig's numbers, as a real fault of that name would;
`FAULTS` lists them all. Its severity depends on the seed. This file does not use how faults are found.
All magnitudes are our choice.
"""

from __future__ import annotations

import random
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from types import MappingProxyType
from typing import Any

from beamfall.errors import UserError, WrongValue
from beamfall.setup.sequence import Sequence
from beamfall.setup.signals import SignalKind
from beamfall.sim.condition import (
    BeamCondition,
    BottleCondition,
    Condition,
    FlashCondition,
    ValveCondition,
)
from beamfall.sim.defects import RigInRoom
from beamfall.sim.model import FlashModel, RigModel


@dataclass
class World:
    """What a fault may change, and its random numbers."""

    model: RigModel
    condition: Condition
    draws: random.Random

    @property
    def beam(self) -> BeamCondition:
        return self.condition.beams[0]

    @property
    def valve(self) -> ValveCondition:
        return self.condition.valves[0]

    @property
    def flash(self) -> FlashCondition:
        return self.condition.flashes[0]

    @property
    def bottle(self) -> BottleCondition:
        return self.condition.bottle

    def often(self, share: float) -> bool:
        return self.draws.random() < share

    def uniform(self, low: float, high: float) -> float:
        return self.draws.uniform(low, high)


@dataclass(frozen=True)
class Fault:
    """What a fault changes, and the kind of part that a rig needs for it (None if any rig can have it)."""

    change: Callable[[World], None]
    part: SignalKind | None = None


def _set(part: str, **values: Any) -> Callable[[World], None]:
    """A change that is only these values of a part: of the first beam, valve or flash, the bottle, or the whole."""

    def change(world: World) -> None:
        for name, value in values.items():
            setattr(getattr(world, part), name, value)

    return change


# -- the beam --------------------------------------------------------------------------------------------------
def _misalign_beam(world: World) -> None:
    """The drops fall beside the beam."""
    offset = world.uniform(0.0032, 0.009)
    valves = tuple(replace(valve, offset_m=offset) for valve in world.model.valves)
    world.model = replace(world.model, valves=valves)


def _unplug_beam(world: World) -> None:
    """The receiver's or the emitter's plug is out, or a wire is broken out of sight."""
    kind = world.draws.choices(("receiver", "emitter", "hidden"), (5, 3, 2))[0]
    world.beam.plug_in = kind == "hidden"
    if kind == "emitter":
        world.beam.emitter_lit = False
    else:
        world.beam.connected = False


def _block_beam(world: World) -> None:
    """Something is in the way or a drop hangs on a lens; or the emitter is dead."""
    if world.often(0.7):
        world.beam.path_free = False
    else:
        world.beam.emitter_lit = False


def _loosen_beam(world: World) -> None:
    world.beam.loose_s = world.uniform(0.2, 1.0)
    world.beam.plug_in = world.often(0.5)


def _make_satellites(world: World) -> None:
    lag = world.uniform(0.022, 0.040)
    world.condition.satellite_lags_s = (lag, lag + 0.024) if world.often(0.25) else (lag,)


# -- valve and bottle ---------------------------------------------------------------------------------------
def _unplug_valve(world: World) -> None:
    """The plug is out, or a wire is broken out of sight, or the supply was left off."""
    world.valve.connected = False
    world.valve.plug_in = world.often(0.2)  # else one sees it
    world.condition.supply.on = not world.often(0.25)


def _make_valve_leak(world: World) -> None:
    world.valve.leak_s = world.uniform(0.4, 2.0)


def _clog_nozzle(world: World) -> None:
    """The nozzle is blocked, or the tube above the valve, in which case removing the nozzle does not help."""
    if world.often(0.85):
        world.valve.nozzle_open = False
    else:
        world.valve.tube_open = False


def _block_air_inlet(world: World) -> None:
    """Suction grows with each drop, starting after an unknown number of drops."""
    bottle = world.bottle
    bottle.inlet_open = False
    bottle.fades = world.uniform(0.55, 0.8)
    bottle.flow = bottle.fades ** world.draws.randint(0, 8)


# -- outputs, flash, camera ------------------------------------------------------------------------------------
def _swap_outputs(world: World) -> None:
    valve = SignalKind.VALVE.nth(world.model.list_lines(SignalKind.VALVE)[0]).name
    flash = SignalKind.FLASH.nth(world.model.list_lines(SignalKind.FLASH)[0]).name
    world.condition.wires.update({valve: flash, flash: valve})


def _make_flash_automatic(world: World) -> None:
    """It meters for itself: a long light at a high power, and a long time to recycle."""
    world.flash.manual = False
    first = world.model.flashes[0]
    long_s = first.duration_s * world.uniform(8.0, 40.0)
    recycle_s = first.recycle_s * world.uniform(0.8, 4.0)
    _change_flash(world, replace(first, duration_s=long_s, recycle_s=recycle_s))


def _slow_flash(world: World) -> None:
    """Weak batteries or too high a power: it needs far longer to recycle than the rig file says."""
    first = world.model.flashes[0]
    _change_flash(world, replace(first, recycle_s=first.recycle_s * world.uniform(3.5, 10.0)))


def _change_flash(world: World, first: FlashModel) -> None:
    world.model = replace(world.model, flashes=(first, *world.model.flashes[1:]))


# -- settings --------------------------------------------------------------------------------------------------
def _change_settings(world: World, change: Callable[[Sequence], Sequence]) -> None:
    before = world.condition.settings
    world.condition.settings = change if before is None else lambda s: change(before(s))


def _shift_delay(sign: int) -> Callable[[World], None]:
    def change(world: World) -> None:
        by_s = sign * world.uniform(0.030, 0.120)

        def shift(sequence: Sequence) -> Sequence:
            flash = sequence.flash_row()
            if flash is None:
                return sequence
            return sequence.with_flash_delay(max(0.002, flash.delay_s + by_s))

        _change_settings(world, shift)

    return change


def _shorten_window(world: World) -> None:
    after_last = world.uniform(0.020, 0.100)

    def change(sequence: Sequence) -> Sequence:
        opens = [row.delay_s for row in sequence.rows if row.kind is SignalKind.VALVE]
        if not opens or sequence.awaits == (0, 0):
            return sequence
        return replace(sequence, window_s=max(opens) + after_last)

    _change_settings(world, change)


# -- supply, line, firmware, button ----------------------------------------------------------------------------
def _weaken_supply(world: World) -> None:
    """Opening the valve dims the beam's emitter, restarts the board, or both."""
    kind = world.draws.choices(("dims", "restarts", "both"), (5, 3, 2))[0]
    world.condition.supply.dims_beam = kind != "restarts"
    world.condition.supply.restart_share = 0.0 if kind == "dims" else world.uniform(0.5, 1.0)
    world.condition.supply.ohm = world.uniform(10.0, 30.0)


def _shake_usb(world: World) -> None:
    world.condition.usb_holds_s = world.uniform(1.5, 5.0)


def _age_firmware(world: World) -> None:
    world.condition.firmware = world.draws.choice(("protocol", "definition"))


def _miswire_button(world: World) -> None:
    if world.often(0.5):
        world.condition.button.connected = False
    else:
        world.condition.button.inverted = True


FAULTS: Mapping[str, Fault] = MappingProxyType(
    {
        "beam-misaligned": Fault(_misalign_beam, SignalKind.BEAM),
        "beam-unplugged": Fault(_unplug_beam, SignalKind.BEAM),
        "beam-blind-by-ambient-light": Fault(_set("beam", ambient=True), SignalKind.BEAM),
        "beam-stuck-dark": Fault(_block_beam, SignalKind.BEAM),
        "beam-wire-shorted": Fault(_set("beam", shorted=True), SignalKind.BEAM),
        "beam-polarity-wrong": Fault(_set("beam", inverted=True), SignalKind.BEAM),
        "beam-contact-loose": Fault(_loosen_beam, SignalKind.BEAM),
        "satellites-counted-as-drops": Fault(_make_satellites, SignalKind.BEAM),
        "valve-unplugged": Fault(_unplug_valve),
        "valve-stuck-closed": Fault(_set("valve", plunger="closed")),
        "valve-stuck-open": Fault(_set("valve", plunger="open")),
        "valve-leaking": Fault(_make_valve_leak),
        "nozzle-clogged": Fault(_clog_nozzle),
        "bottle-empty": Fault(_set("bottle", filled=False)),
        "air-inlet-blocked": Fault(_block_air_inlet),
        "outputs-swapped": Fault(_swap_outputs),
        "flash-off": Fault(_set("flash", powered=False), SignalKind.FLASH),
        "flash-asleep": Fault(_set("flash", asleep=True), SignalKind.FLASH),
        "flash-not-manual": Fault(_make_flash_automatic, SignalKind.FLASH),
        "flash-cable": Fault(_set("flash", cable=False), SignalKind.FLASH),
        "flash-recycling": Fault(_slow_flash, SignalKind.FLASH),
        "light-sensor-blind": Fault(_set("condition", light_sensor=False)),
        "camera-cable": Fault(_set("condition", camera_cable=False)),
        "delay-too-long": Fault(_shift_delay(1)),
        "delay-too-short": Fault(_shift_delay(-1)),
        "window-too-short": Fault(_shorten_window),
        "supply-sagging": Fault(_weaken_supply),
        "usb-dropping-out": Fault(_shake_usb),
        "firmware-differs": Fault(_age_firmware),
        "button-miswired": Fault(_miswire_button),
    }
)


def make_faulty(model: RigModel, seed: int, names: str | None) -> RigInRoom:
    """Return a model's rig with the named faults, separated by commas; None means a sound rig.

    Raises WrongValue for an unknown name, UserError for a part that the rig does not have.
    """
    world = World(model, Condition(), random.Random())
    for name in [] if names is None else dict.fromkeys(names.split(",")):
        # Each fault has its own random stream: two together are each as bad as alone.
        world.draws = random.Random(f"{seed}/fault/{name}")
        fault = FAULTS.get(name)
        if fault is None:
            raise WrongValue(
                f"no such fault: '{name}'; choose one of {', '.join(sorted(FAULTS))}",
                of="fault", found=name, choices=FAULTS,
            )  # fmt: skip
        if fault.part is not None and not model.list_parts(fault.part):
            raise UserError(
                f"fault '{name}': the rig has no {fault.part}; add a [[{fault.part}]] to its file"
            )
        fault.change(world)
    made = RigInRoom(world.model, seed, world.condition)
    made.faults = names
    return made
