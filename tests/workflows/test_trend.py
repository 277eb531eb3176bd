"""A drift of the drops shows while the shots are fired, with the correction that brings the picture back."""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from changed_log import change_shot

from beamfall.board import Board
from beamfall.errors import UserError
from beamfall.page.desk import Desk
from beamfall.page.hub import Hub
from beamfall.page.trends import Trends
from beamfall.planning.make import make_plan
from beamfall.setup.rig import example_rig
from beamfall.shots import ShotLog
from beamfall.workflows.series import Shooter
from beamfall.workflows.trend import find_trend

SHOTS = 12


@pytest.fixture(scope="module")
def fired(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Shots of one sequence on the simulated rig."""
    file = tmp_path_factory.mktemp("trend") / "shots.sqlite3"
    rig = example_rig()
    with Board.connect("sim?seed=3", rig=rig) as board, ShotLog.open(file) as log:
        shooter = Shooter.begin(board, log, "shoot", rig=rig)
        sequence = make_plan(rig).sequence
        for _ in range(SHOTS):
            shooter.fire(sequence)
    return file


def delay_drops(log: ShotLog, each_s: float) -> None:
    """Make the drops of each shot cross the beam later than those of the shot before, by that much."""
    for shot in range(1, SHOTS + 1):
        record = log.read_shot(shot).record
        late = round((shot - 1) * each_s * record.clock_hz)
        edges = [
            replace(edge, ticks=edge.ticks + late) if edge.what == "beam1" and edge.ticks else edge
            for edge in record.edges
        ]
        change_shot(log, shot, edges=edges)


def test_a_steady_rig_has_no_trend(fired: Path) -> None:
    with ShotLog.open(fired) as log:
        assert find_trend(log, SHOTS) is None


def test_drops_that_come_later_and_later_ask_for_a_correction(fired: Path) -> None:
    with ShotLog.open(fired) as log:
        delay_drops(log, 0.2e-3)
        trend = find_trend(log, SHOTS)
        assert trend is not None and trend.since == 1
        assert trend.later_s == pytest.approx(1.6e-3, abs=0.3e-3)  # between means of 4: 8 shots
        assert trend.correction.seen and trend.correction.is_needed
        assert find_trend(log, 7) is None, "seven shots are too few"


def test_one_press_corrects_the_timings_once(fired: Path, tmp_path: Path) -> None:
    file = tmp_path / "shots.sqlite3"
    with ShotLog.open(fired) as log, ShotLog.open(file) as copy:
        log._connection.backup(copy._connection)
        delay_drops(copy, 0.2e-3)
    hub = Hub()
    desk = Desk(hub, None)
    desk.start()
    desk.wait(60.0)
    trends = Trends(hub, desk)
    trends.look_later(file, SHOTS, desk.number)
    end = time.monotonic() + 60.0
    while hub.get("trend") is None and time.monotonic() < end:
        time.sleep(0.02)
    assert trends.found is not None and hub.get("trend")["shot"] == SHOTS
    plan = desk.plan
    assert plan is not None and plan.spacing_s is not None
    correction = trends.found.correction
    trends.correct(SHOTS)
    desk.wait(60.0)
    assert desk.plan is not None and desk.plan.spacing_s is not None
    moved = desk.plan.spacing_s - plan.spacing_s, desk.plan.flash_delay_s - plan.flash_delay_s
    assert moved == pytest.approx((correction.spacing_s, correction.delay_s), abs=2e-6)
    with pytest.raises(UserError):
        trends.correct(SHOTS)
    trends.close()
    desk.close()


def test_shots_that_end_while_the_page_closes_can_be_looked_at(
    on_page: Callable[..., Any], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    page = on_page(tmp_path / "shots.sqlite3")
    is_served: list[bool] = []

    def close(own: Trends) -> None:
        is_served.append(page.bench._thread.is_alive())
        end(own)

    end = Trends.close
    monkeypatch.setattr(Trends, "close", close)
    page.bench.close()
    assert is_served == [False]
