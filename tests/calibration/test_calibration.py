"""Calibration against hidden simulated rigs; the 200 of the figure are in tests/benchmarks/calibration.py."""

from __future__ import annotations

import dataclasses
import json
import os
import subprocess
from pathlib import Path

import numpy as np
import pytest
from calibrated_rigs import GAP_ERROR_M, ONE_BEAM, calibrate_hidden, find_truth, fire, make_sequence
from changed_log import change_shot
from command_line import run_cli
from tiers import in_full

from beamfall.board import Board
from beamfall.errors import CalibrationError, UserError
from beamfall.planning.calibration import calibrate, measure_drops
from beamfall.planning.calibration.effect import compare_plans, keep_for_plan
from beamfall.planning.calibration.model import QUANTITIES, make_model
from beamfall.planning.learned import load_learned, save_learned
from beamfall.planning.rows import build_warm_up
from beamfall.planning.setting import compute_flow, make_setting
from beamfall.planning.unknowns import NAMES, Unknown
from beamfall.setup.rig import example_rig
from beamfall.shots import ShotLog
from beamfall.workflows.series import WARM_UP, Shooter


def test_one_beam_says_what_it_cannot_tell(tmp_path: Path) -> None:
    found, truth = calibrate_hidden(tmp_path / "log.sqlite3", 11)
    assert not found.separable
    assert not found.find("distance_m").is_told
    assert found.to_json()["estimates"]["distance_m"]["value"] is None
    pairs = {(one.first, one.second): one for one in found.combinations}
    both = pairs["latency_s", "distance_m"]
    # A longer fall by 1 mm at 1.56 m/s takes 0.64 ms: free fall from rest over 0.13 m gives √(2gd).
    speed = (2.0 * 9.81 * found.find("distance_m").value) ** 0.5
    assert both.slope == pytest.approx(1.0 / speed, rel=0.05)
    # The combination itself is known far better than either, and true.
    assert both.error < 1e-4 < found.find("latency_s").error
    true = truth["latency_s"] + both.slope * (truth["distance_m"] - both.at)
    assert abs(true - both.value) < 4.0 * both.error
    assert found.find("width_m").told < 0.7  # the dwell is shared with the diameter


@pytest.mark.parametrize("case", [{"beams": 2}, *in_full({"heights": 2})])
def test_two_beams_or_two_heights_tell_latency_and_distance_apart(
    tmp_path: Path, case: dict[str, int]
) -> None:
    found, truth = calibrate_hidden(tmp_path / "log.sqlite3", 12, **case)
    assert found.separable
    assert ("latency_s", "distance_m") not in {(o.first, o.second) for o in found.combinations}
    for name in ("latency_s", "distance_m", "speed_m_s", "diameter_m"):
        one = found.find(name)
        assert one.is_told
        assert abs(one.value - truth[name]) < 4.0 * one.error, name
    assert found.find("latency_s").error < 4e-4
    assert found.find("distance_m").error < 7e-4


@pytest.mark.full
def test_intervals_hold_the_truth(tmp_path: Path) -> None:
    held = total = 0
    for seed in range(500, 520):
        found, truth = calibrate_hidden(tmp_path / f"{seed}.sqlite3", seed, beams=2, shots=12)
        for one in found.estimates:
            low, high = one.interval
            held += low <= truth[one.name] <= high
            total += 1
    assert 0.85 <= held / total <= 1.0  # 100 intervals of 20 rigs, not independent


def test_the_model_falls_as_the_simulated_rig(tmp_path: Path) -> None:
    """With the hidden truth put in, model and simulated rig must agree: two laws of the fall, two programs."""
    quiet = dataclasses.replace(
        ONE_BEAM,
        uncertainty=dataclasses.replace(
            ONE_BEAM.uncertainty, latency_scatter_s=1e-9, volume_scatter=1e-9
        ),
    )
    with ShotLog.open(tmp_path / "log.sqlite3") as log:
        truth = fire(log, quiet, 21, 8)
        samples = measure_drops(log, [1])
    valve, written = truth.valves[0], quiet.valves[0]
    flow = compute_flow(written, make_setting(quiet)).steady_m3_s
    true = {
        "latency_error_s": valve.latency_s - written.latency_s,
        "volume_ratio": valve.flow_m3_s / flow,
        "detachment_ratio": valve.detachment_ratio,
        "start_speed_ratio": valve.start_speed_ratio,
        "nozzle_error_m": valve.nozzle_height_m - written.height_m,
        "beam_error_m": truth.beams[0].height_m - quiet.beams[0].height_m,
        "beam_sense": truth.beams[0].width_m / quiet.beams[0].width_m,
    }
    model = make_model(samples, GAP_ERROR_M)

    def place(unknown: Unknown, value: float) -> float:
        shift = unknown.find_shift(value)
        return shift / unknown.spread

    z = np.array([[place(model.unknowns[name], true[name]) for name in model.names]])
    assert model.predict(z)[0] == pytest.approx(samples[0].values_s.mean(axis=0), abs=6e-6)
    wanted = find_truth(truth)
    found = dict(zip(QUANTITIES, model.quantities(z)[0], strict=True))
    for name, value in wanted.items():
        assert found[name] == pytest.approx(value, rel=1e-4), name


def test_too_few_drops_and_none(tmp_path: Path) -> None:
    with ShotLog.open(tmp_path / "log.sqlite3") as log:
        log.begin_series("shoot", rig=ONE_BEAM)
        with pytest.raises(UserError):
            measure_drops(log, [1])
        fire(log, ONE_BEAM, 3, 2)
        with pytest.raises(UserError, match="4 .* 8"):
            measure_drops(log, [2])


def test_a_rig_file_that_cannot_be_is_refused(tmp_path: Path) -> None:
    """The file says 47 cm, the beam stood 30 cm lower."""
    with ShotLog.open(tmp_path / "log.sqlite3") as log:
        truth = fire(log, ONE_BEAM, 4, 10)
        far = (dataclasses.replace(truth.beams[0], height_m=0.17),)
        fire(log, ONE_BEAM, 4, 10, beams=far)
        calibrate(measure_drops(log, [1]))
        with pytest.raises(CalibrationError):
            calibrate(measure_drops(log, [2]))


def test_a_stray_shadow_does_not_move_the_result(tmp_path: Path) -> None:
    with ShotLog.open(tmp_path / "log.sqlite3") as log:
        fire(log, ONE_BEAM, 5, 20)
        clean = calibrate(measure_drops(log, [1]))
        for shot in (3, 9):
            edges = [
                dataclasses.replace(edge, ticks=(edge.ticks or 0) - 2_000_000)  # 16 ms early: an insect
                if (edge.what, edge.edge) == ("beam1", "dark") else edge
                for edge in log.read_shot(shot).record.edges
            ]  # fmt: skip
            change_shot(log, shot, edges=edges)
        samples = measure_drops(log, [1])
        assert samples[0].left_out == 4
        moved = calibrate(samples)
    one, other = clean.find("latency_s"), moved.find("latency_s")
    assert abs(one.value - other.value) < 0.1 * one.error


def test_what_is_kept_narrows_the_plan(tmp_path: Path) -> None:
    found, _ = calibrate_hidden(tmp_path / "log.sqlite3", 13, beams=2)
    learned = keep_for_plan(found, board="b0a2d", port="sim?seed=13", simulated=True)
    save_learned(tmp_path / "rig.learned.json", learned)
    again = load_learned(tmp_path / "rig.learned.json", "b0a2d")
    assert again is not None and again.shots == 20
    effects = {one.name: one for one in compare_plans(found, again)}
    fall = effects["nozzle_to_beam"]
    assert fall.after[2] - fall.after[0] < 0.6 * (fall.before[2] - fall.before[0])
    fitted = again.fit(found.model.samples[0].rig)
    assert fitted is not None
    onset = NAMES.index("onset_factor")
    # Beams say nothing of the jet.
    assert fitted[0][onset] == 0.0 and fitted[1][onset, onset] == 1.0


def run(folder: Path, *arguments: str) -> subprocess.CompletedProcess[str]:
    environment = {**os.environ, "BEAMFALL_LOG": str(folder / "log.sqlite3")}
    return run_cli(*arguments, environment=environment)


def test_the_command(tmp_path: Path) -> None:
    first = run(tmp_path, "calibrate", "--port", "sim?seed=3", "--count", "12")
    assert first.returncode == 0, first.stderr
    assert (tmp_path / "example.learned.json").exists()
    second = run(tmp_path, "calibrate", "--series", "1", "--json", "--no-store")
    content = json.loads(second.stdout)
    assert content["drops"] == 24 and content["separable"] is False
    assert set(content["estimates"]) == set(QUANTITIES)
    with ShotLog.open(tmp_path / "log.sqlite3") as log:
        rows = log.query("SELECT shots, content FROM calibration")
    assert len(rows) == 1 and json.loads(rows[0][0]) == list(range(1, 13))
    bad = run(tmp_path, "calibrate", "--series", "9")
    assert bad.returncode == 2 and "series 9" in bad.stderr
    assert example_rig().name in first.stdout


def test_warm_up_drops_are_no_part_of_it(tmp_path: Path) -> None:
    """They are left out because they differ from the ones that follow."""
    rig = example_rig().with_aim(warm_up=4)
    with (
        ShotLog.open(tmp_path / "log.sqlite3") as log,
        Board.connect("sim", rig=rig, seed=4) as board,
    ):
        shooter = Shooter.begin(board, log, "shoot", rig=rig)
        warm_up = build_warm_up(rig, rig.aim.warm_up)
        assert warm_up is not None
        warm = shooter.fire(warm_up, swept={WARM_UP: rig.aim.warm_up})
        for _ in range(10):
            shooter.fire(make_sequence(rig.valves[0].opening_s))
            shooter.rest(2.0)
        drops = measure_drops(log, [1])
    assert len([e for e in warm.edges if e.what == "beam1"]) == 8
    assert all(warm.shot not in sample.shots for sample in drops)
