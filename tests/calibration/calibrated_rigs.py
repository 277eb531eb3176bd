"""Simulated rigs whose truth a calibration does not see, for tests/calibration and its benchmark.

A second beam of a simulated rig lies to the first to 0.3 mm as its file says, as on a bench, and
the share of its width that counts is known as little as the first's.
"""

from __future__ import annotations

import dataclasses
import random
from pathlib import Path

from beamfall.board import Board
from beamfall.physics import drops
from beamfall.physics.drops import compute_diameter
from beamfall.physics.fall import Conditions, fall
from beamfall.planning.calibration import Calibration, calibrate, measure_drops
from beamfall.setup.rig import Rig, example_rig
from beamfall.setup.rig_sections import Beam
from beamfall.setup.sequence import Row, Sequence
from beamfall.shots import ShotLog
from beamfall.sim.model import BeamModel, RigModel
from beamfall.workflows.series import Shooter

GAP_ERROR_M = 3e-4
ONE_BEAM = example_rig()
SECOND = Beam(input="beam2", height_m=0.20, blanking_s=0.02)
TWO_BEAMS = dataclasses.replace(ONE_BEAM, beams=(*ONE_BEAM.beams, SECOND))


def lower_beam(rig: Rig, height_m: float) -> Rig:
    """The rig with its first beam moved."""
    return dataclasses.replace(
        rig, beams=(dataclasses.replace(rig.beams[0], height_m=height_m), *rig.beams[1:])
    )


def make_sequence(opening_s: float) -> Sequence:
    return Sequence(
        rows=(
            Row("release", 0, "valve1", 0.101, opening_s),
            Row("release", 0, "valve1", 0.2056, opening_s),
        ),
        window_s=1.0,
        tail_s=0.6,
        blanking_s=0.02,
        await1=2,
    )


def fire(
    log: ShotLog, rig: Rig, seed: int, shots: int, beams: tuple[BeamModel, ...] = ()
) -> RigModel:
    """Fire a series on the hidden rig of that seed and return its truth."""
    with Board.connect("sim", rig=rig, seed=seed) as board:
        simulated = board.transport.rig
        assert simulated is not None
        if beams:
            simulated.model = dataclasses.replace(simulated.model, beams=beams)
        shooter = Shooter.begin(board, log, "calibrate", rig=rig)
        for number in range(shots):
            if number:
                shooter.rest(2.0)
            shooter.fire(make_sequence(rig.valves[0].opening_s))
        return simulated.model


def find_truth(model: RigModel, beam: int = 0) -> dict[str, float]:
    """What is asked for, from the hidden model by the scalar law of the fall, not by the calibration's."""
    valve = model.valves[0]
    open_s = valve.opening_s - valve.lag_s
    diameter = compute_diameter(valve.flow.compute_volume(open_s))
    start_speed = valve.start_speed_ratio * drops.start_speed(
        diameter, valve.flow.compute_push(open_s), valve.bore_m, model.liquid, gravity=model.gravity
    )
    start = valve.nozzle_height_m - valve.detachment_ratio * diameter
    law = Conditions(
        model.liquid.density_kg_m3, model.liquid.surface_tension_n_m, model.air, model.gravity
    )
    low, high = 0.0, 0.2  # the head that gives the first speed, by bisection
    for _ in range(60):
        middle = 0.5 * (low + high)
        slow = middle <= 0.0 or fall(middle, diameter, law).speed_m_s < start_speed
        low, high = (middle, high) if slow else (low, middle)
    since = fall(low, diameter, law).time_s if low > 1e-9 else 0.0
    fallen = fall(start - model.beams[beam].height_m, diameter, law, initial_speed_m_s=start_speed)
    return {
        "latency_s": valve.latency_s - since,
        "distance_m": start + low - model.beams[beam].height_m,
        "speed_m_s": fallen.speed_m_s,
        "diameter_m": diameter,
        "width_m": model.beams[beam].width_m,
    }


def calibrate_hidden(
    path: Path, seed: int, *, beams: int = 1, heights: int = 1, shots: int = 20
) -> tuple[Calibration, dict[str, float]]:
    """Fire on the hidden rig of a seed and calibrate: (what was found, what is true)."""
    rig = TWO_BEAMS if beams == 2 else ONE_BEAM
    with ShotLog.open(path) as log:
        truth = fire(log, rig, seed, shots)
        if heights == 2:
            lower = lower_beam(rig, 0.20)
            own = random.Random(f"{seed}/hidden height").gauss(0.0, GAP_ERROR_M)
            moved = dataclasses.replace(
                truth.beams[0], height_m=truth.beams[0].height_m - 0.27 + own
            )
            fire(log, lower, seed, shots, beams=(moved, *truth.beams[1:]))
        series = [line.series for line in log.list_series(limit=heights)]
        found = calibrate(measure_drops(log, series), gap_error_m=GAP_ERROR_M)
    return found, find_truth(truth)
