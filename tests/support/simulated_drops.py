"""Simulated rigs without scatter, and what tests do with them: open a valve, listen, shoot."""

from __future__ import annotations

import math
from dataclasses import replace

from beamfall.physics.air import Air
from beamfall.physics.liquids import WATER
from beamfall.setup.signals import Signal
from beamfall.sim.model import BeamModel, FlashModel, JetModel, RigModel, ValveModel
from beamfall.sim.rig import SimulatedRig

SIGNALS = Signal
VALVE1, VALVE2, FLASH1 = (int(SIGNALS[name]) for name in ("valve1", "valve2", "flash1"))
BEAM1, LIGHT1 = int(SIGNALS["beam1"]), int(SIGNALS["light1"])
FLOW = 2.5e-6  # m³/s
# The conditions of shared reference values: air 1.20458 kg/m³, 1.82057e-5 Pa·s, g 9.80665.
AIR, G = Air(1.20458, 1.82057e-5), 9.80665


def rig_of(diameter_m: float = 0.004, *, beams: tuple[BeamModel, ...] = (), **changes) -> RigModel:
    """A rig without scatter, whose drop has that diameter and starts at rest one diameter below the nozzle."""
    valve = ValveModel(
        nozzle_height_m=0.5 + 1.5 * diameter_m,  # its centre then falls 0.5 m to the surface
        flow_m3_s=FLOW,
        opening_s=math.pi / 6 * diameter_m**3 / FLOW,
        lag_s=0.0,
        latency_s=0.02,
        latency_scatter_s=0.0,
        volume_scatter=0.0,
        start_speed_ratio=0.0,
    )
    jet = JetModel(1.2, 2.5, 0.65, onset_scatter_s=0.0, height_scatter=0.0)
    model = RigModel(
        (valve,), beams, (FlashModel(5e-5, 5e-5, 1.0),), jet, WATER, AIR, G, aim_scatter_m=0.0
    )
    return replace(model, **changes)


def open_valve(rig: SimulatedRig, at_s: float, valve: int = VALVE1) -> list[tuple[float, int, int]]:
    """Open a valve for one drop; return the input edges until it closes."""
    number = 0 if valve == VALVE1 else 1
    rig.drive(valve, 1, round(at_s * rig.clock_hz))
    seen = listen(rig, at_s + rig.model.valves[number].opening_s)
    rig.drive(valve, 0, round((at_s + rig.model.valves[number].opening_s) * rig.clock_hz))
    return seen


def listen(rig: SimulatedRig, until_s: float) -> list[tuple[float, int, int]]:
    found = []
    while (edge := rig.next_edge(round(until_s * rig.clock_hz))) is not None:
        found.append((edge[0] / rig.clock_hz, edge[1], edge[2]))
    return found


def fire(rig: SimulatedRig, at_s: float) -> None:
    rig.drive(FLASH1, 1, round(at_s * rig.clock_hz))


def shoot(rig: SimulatedRig, spacing_s: float, stage_s: float):
    """Two drops and a light `stage_s` after their contact; the splash."""
    start = 1.0
    open_valve(rig, start)
    open_valve(rig, start + spacing_s)
    splash = rig._splash
    contact = splash.contact
    assert contact is not None
    fire(rig, contact.when_s + stage_s - rig.model.flashes[0].latency_s)
    return rig.take_splash()
