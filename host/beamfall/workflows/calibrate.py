"""Calibrates the rig from the beam's edges: drops without a flash, and what the planner learns from them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from beamfall.board import Board
from beamfall.planning.belief import Belief
from beamfall.planning.calibration import Calibration, measure_drops
from beamfall.planning.calibration import calibrate as estimate
from beamfall.planning.calibration.drops import check_request, make_drops
from beamfall.planning.calibration.effect import Effect, compare_plans, keep_for_plan
from beamfall.planning.calibration.measure import put_own_first
from beamfall.planning.calibration.weigh import weigh
from beamfall.planning.learned import find_file, load_learned, save_learned
from beamfall.planning.make import make_plan
from beamfall.planning.result import Plan
from beamfall.setup.rig import Rig
from beamfall.shots import ShotLog
from beamfall.workflows.steps import Begin, DropsFallen, Progress, Workflow, begin, fire

SHOTS_LEAST = 8
_REST_MOST_S = 2.0  # no surface has to settle for this


@dataclass(frozen=True)
class DropsProgress(Progress):
    """How many pairs of drops have fallen, without a flash."""


@dataclass(frozen=True)
class Calibrated:
    """A calibration. `of_rig`: the name of the rig that its shots were fired on; `kept` is None if the planner does
    not get it, `fits` False if that is because the shots belong to another rig file."""

    found: Calibration
    effects: tuple[Effect, ...]
    of_rig: str
    fits: bool
    kept: Path | None


def calibrate(
    rig: Rig,
    log: ShotLog,
    *,
    count: int,
    gap_error_m: float,
    valve: str | None = None,
    rig_file: Path | None = None,
    store: bool = True,
) -> Workflow[Calibrated]:
    """Let `count` pairs of drops fall and calibrate by them; see `calibrate_by`."""
    check_request(rig, gap_error_m=gap_error_m, valve=valve)
    drops = make_drops(rig, valve)
    rest_s = min(rig.aim.rest_s, _REST_MOST_S)
    series = yield from begin(Begin("calibrate", rig, {"count": count}, rest_s=rest_s))
    for number in range(count):
        yield DropsProgress(number, count)
        yield from fire(drops, settled=False)
    yield DropsFallen(series, count)
    return calibrate_by(
        log, rig, [series], gap_error_m=gap_error_m, valve=valve, rig_file=rig_file, store=store
    )


@dataclass(frozen=True)
class Weighed:
    """What weighing says: one drop's volume in m³ with its error, and the plan before and after."""

    volume_m3: float
    error_m3: float
    before: Plan
    after: Plan
    kept: Path | None


def weigh_drops(
    rig: Rig,
    board: Board,
    *,
    mass_kg: float,
    count: int,
    rig_file: Path | None = None,
    store: bool = True,
) -> Weighed:
    """Use the mass of `count` drops of the first valve; the next plan with this board uses it too.

    Raises CalibrationError if the mass cannot be that of such drops.
    """
    alone, volume, error = weigh(rig, mass_kg, count)
    identity, port = board.info.unique_id.hex(), board.name
    file = find_file(rig_file)
    earlier = load_learned(file, identity)
    known = earlier or Belief(identity, port, board.traits.brings_rig)
    learned = known.add_calibration(rig, alone, used=())
    if store:
        save_learned(file, learned)
    before, after = make_plan(rig, learned=earlier), make_plan(rig, learned=learned)
    return Weighed(volume, error, before, after, file if store else None)


def calibrate_by(
    log: ShotLog,
    rig: Rig,
    series: Sequence[int],
    *,
    gap_error_m: float,
    valve: str | None = None,
    rig_file: Path | None = None,
    store: bool = True,
) -> Calibrated:
    """Calibrate by series of the log; `store` keeps the outcome in the log and, for this rig, for the planner.

    Raises UserError, CalibrationError.
    """
    samples = put_own_first(measure_drops(log, series, valve=valve), rig)
    found = estimate(samples, gap_error_m=gap_error_m)
    newest = log.read_shot(found.shots[-1])
    board, port = newest.board["unique_id"], newest.record.port
    file = find_file(rig_file)
    earlier = load_learned(file, board)
    learned = keep_for_plan(
        found,
        board=board,
        port=port,
        simulated=newest.is_simulated,
        earlier=earlier,
        series=tuple(series),
    )
    effects = compare_plans(found, learned, earlier)
    fits = samples[0].rig.digest == rig.digest
    if store:
        log.add_calibration(found.shots, found.to_json())
        if fits:
            save_learned(file, learned)
    kept = file if store and fits else None
    return Calibrated(found, tuple(effects), samples[0].rig.name, fits, kept)
