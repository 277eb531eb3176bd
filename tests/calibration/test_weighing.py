"""Drops on a kitchen scale: the volume that the next plan knows."""

from __future__ import annotations

import dataclasses
import json
from pathlib import Path

import pytest
from command_line import run_cli

from beamfall.board import Board
from beamfall.errors import CalibrationError
from beamfall.physics.drops import compute_volume
from beamfall.planning.belief import CALIBRATED
from beamfall.planning.calibration.weigh import weigh
from beamfall.planning.learned import load_learned
from beamfall.planning.setting import compute_drop, make_setting
from beamfall.setup.rig import example_rig
from beamfall.workflows.calibrate import weigh_drops


def test_fifty_weighed_drops_tell_the_volume_to_three_per_cent(tmp_path: Path) -> None:
    rig = dataclasses.replace(example_rig(), name="weighed")
    file = tmp_path / "weighed.toml"
    with Board.connect("sim", rig=rig) as board:
        done = weigh_drops(rig, board, mass_kg=2.1e-3, count=50, rig_file=file)
    # 2.1 g / 50 / 998.2 kg/m³ = 42.08 µL
    assert done.volume_m3 * 1e9 == pytest.approx(42.08, abs=0.01)
    assert done.error_m3 / done.volume_m3 < 0.03
    size = done.after.quantities["drop_diameter_mm"]
    # (6·42.08/π)^(1/3) = 4.316 mm
    assert size.p50 == pytest.approx(4.316e-3, rel=0.005)
    before = done.before.quantities["drop_diameter_mm"]
    assert size.p95 - size.p5 < 0.3 * (before.p95 - before.p5)
    learned = load_learned(file.with_name("weighed.learned.json"))
    assert learned is not None
    assert (learned.chain[-1].kind, learned.chain[-1].shots) == (CALIBRATED, 0), (
        "weighed, not fired"
    )


def test_a_mass_that_cannot_be_is_refused() -> None:
    rig = example_rig()
    one = compute_volume(compute_drop(rig.valves[0], make_setting(rig)))
    with pytest.raises(CalibrationError):
        weigh(rig, 5.0 * 998.2 * 50 * one, 50)


def test_the_command_takes_the_weight_and_refuses_half_of_it() -> None:
    words = ("calibrate", "drops", "--port", "sim", "--weighed", "2.1 g")
    done = run_cli(*words, "--count", "50", "--json")
    assert json.loads(done.stdout)["volume_ul"] == pytest.approx(42.08, abs=0.01)
    assert run_cli(*words).returncode == 2
