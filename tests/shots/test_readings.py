"""The board measures its coils' current and the valves' supply; without that, everything works as before."""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from beamfall.board import Board
from beamfall.errors import LinkLost
from beamfall.events import Readings
from beamfall.link import Link
from beamfall.planning.make import make_plan
from beamfall.setup.rig import example_rig
from beamfall.shots import ShotLog
from beamfall.shots.coil_readings import judge_opening
from beamfall.shots.record import ShotRecord
from beamfall.shots.stored import DamagedValue, from_plain, to_plain
from beamfall.sim.build import draw_model
from beamfall.sim.defects import RigInRoom
from beamfall.sim.embedded import SimulatedTransport
from beamfall.sim.firmware_modules import load_other_firmware
from beamfall.workflows.series import Shooter
from tests.support.command_line import run_cli

OPENING_S = 0.026


def drip(port: str, seed: int = 1) -> tuple[Readings, ...]:
    with Board.connect(port, seed=seed) as board:
        return board.drip(1, OPENING_S).readings


def test_both_simulated_boards_measure_the_same_for_the_same_seed() -> None:
    (embedded,) = drip("sim", seed=4)
    assert drip("sim:micropython", seed=4) == (embedded,)
    assert drip("sim", seed=5) != (embedded,)


def test_a_shot_has_readings_around_each_opening_which_the_log_keeps(
    tmp_path: Path, monkeypatch: Any
) -> None:
    monkeypatch.setenv("BEAMFALL_LOG", str(tmp_path / "log.sqlite3"))
    done = run_cli("shoot", "--port", "sim?seed=2", "--json")
    shot = json.loads(done.stdout)
    opened = [e["ticks"] for e in shot["edges"] if (e["what"], e["edge"]) == ("valve1", "on")]
    assert len(shot["readings"]) == len(opened) == 2
    for one, ticks in zip(shot["readings"], opened, strict=True):
        reach = len(one["current_ma"]) * one["spacing_ticks"]
        assert one["start_ticks"] < ticks < one["start_ticks"] + reach
        before = (ticks - one["start_ticks"]) // one["spacing_ticks"]
        assert max(one["current_ma"][:before]) < 10 < min(one["current_ma"][before + 2 :])
    kept = run_cli("shots", "show", str(shot["shot"]), "--json")
    assert json.loads(kept.stdout)["readings"] == shot["readings"]


def unmeasured() -> RigInRoom:
    return RigInRoom(replace(draw_model(example_rig(), 1), supply=None), 1)


@pytest.mark.parametrize("firmware", [None, "older"])
def test_a_board_that_measures_nothing_or_is_older_works_as_before(firmware: str | None) -> None:
    other = load_other_firmware(firmware) if firmware else None
    rig = RigInRoom(draw_model(example_rig(), 1), 1) if firmware else unmeasured()
    link = Link(SimulatedTransport(rig, seed=1, firmware=other))
    with Board(link) as board:
        outcome = board.drip(1, OPENING_S)
        assert (outcome.complete, outcome.readings, board.reads_coils) == (True, (), False)


def test_a_shot_is_complete_although_its_readings_cannot_be_had(monkeypatch: Any) -> None:
    def fail(self: Board, part: int) -> None:
        raise LinkLost("the cable is out")

    with Board.connect("sim") as board:
        monkeypatch.setattr(Board, "_ask_readings", fail)
        outcome = board.drip(1, OPENING_S)
    assert outcome.complete
    assert outcome.edges
    assert outcome.readings == ()


def test_a_shot_that_is_stopped_while_its_coils_are_read_is_logged_as_it_ended(
    tmp_path: Path, monkeypatch: Any
) -> None:
    ask, stopped = Board._ask_readings, []

    def stop_once(self: Board, part: int) -> Any:
        if not stopped:
            stopped.append(part)
            raise KeyboardInterrupt
        return ask(self, part)

    with Board.connect("sim?seed=2") as board, ShotLog.open(tmp_path / "log.sqlite3") as log:
        shooter = Shooter.begin(board, log, "shoot", rig=example_rig())
        monkeypatch.setattr(Board, "_ask_readings", stop_once)
        with pytest.raises(KeyboardInterrupt):
            shooter.fire(make_plan(example_rig()).sequence)
        assert stopped
        (shot,) = log.list_shots(limit=None)
        record = log.read_shot(shot.shot).record
    assert record.state == "fired"
    assert len(record.readings) == 2


def test_readings_that_were_damaged_in_the_log_are_known_as_such() -> None:
    record = ShotRecord(state="fired", clock_hz=1, timing="simulated", readings=(
        Readings(0, 2, (1, 2), (3, 4)),))  # fmt: skip
    plain = json.loads(json.dumps(to_plain(record)))
    assert from_plain(ShotRecord, plain) == record
    for damaged in (
        [0, 2, [1], [3, 4]],
        [0, 0, [1], [3]],
        [0, 2, [1.5], [3]],
        [0, 2, 1, 3],
        [-1, 2, [], []],
    ):
        with pytest.raises(DamagedValue):
            from_plain(ShotRecord, plain | {"readings": [damaged]})


@pytest.mark.parametrize(
    ("fault", "has_current", "moved", "has_supply"),
    [("", True, True, True), ("?fault=valve-stuck-closed", True, False, True),
     ("?fault=valve-stuck-open", True, False, True)],
)  # fmt: skip
def test_the_notch_shows_whether_the_plunger_moved(
    fault: str, has_current: bool, moved: bool, has_supply: bool
) -> None:
    (readings,) = drip("sim" + fault)
    action = judge_opening(readings)
    assert action is not None
    assert (action.has_current, action.pulled_ticks is not None, action.has_supply) == (
        has_current, moved, has_supply)  # fmt: skip


def test_a_sagging_supply_and_a_dead_one_are_told_from_a_sound_one() -> None:
    def judge(currents: Sequence[int], voltages: Sequence[int]) -> Any:
        return judge_opening(Readings(0, 1, tuple(currents), tuple(voltages)))

    rise = [0, 0, 100, 200, 300, 300, 300, 300]
    assert not judge(rise, [24000, 24000, 23900, 23800, 23700, 23700, 23700, 23700]).sags
    assert judge(rise, [24000, 24000, 22000, 20000, 19000, 19000, 19000, 19000]).sags
    dead = judge([0] * 8, [30] * 8)
    assert (dead.has_current, dead.has_supply, dead.sags) == (False, False, False)
    assert judge_opening(Readings(0, 1, (), ())) is None
