"""The camera's shutter lag: measured on a simulated camera whose truth is known, and planned for."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest

from beamfall.board import Board
from beamfall.errors import CalibrationError, RigFileError
from beamfall.planning.make import make_plan
from beamfall.planning.result import CautionKind
from beamfall.planning.shutter import advise_exposure
from beamfall.setup.rig import Rig, load_rig
from beamfall.setup.signals import SignalKind
from beamfall.shots import ShotLog
from beamfall.sim.shutter import ShutterModel, make_shutter
from beamfall.workflows.calibrate_camera import measure_lag, search_lag
from beamfall.workflows.run import run
from beamfall.workflows.shoot import shoot

SEED = 5
# Invented for tests.
RIG = """
name = "shutter, for tests"
[dish]
depth = "25 mm"
[[valve]]
height = "60 cm"
bore = "2 mm"
head = "10 cm"
opening = "11 ms"
latency = "22 ms"
[[beam]]
height = "47 cm"
[[flash]]
recycle = "0.1 s"
[aim]
rest = "0.2 s"
[camera]
"""


@pytest.fixture
def make_rig(tmp_path: Path) -> Any:
    def make(camera: str) -> Rig:
        file = tmp_path / "rig.toml"
        file.write_text(RIG + camera, encoding="utf-8")
        return load_rig(file)

    return make


@contextmanager
def bench(rig: Rig, folder: Path, port: str = "sim") -> Iterator[tuple[Board, ShotLog]]:
    with (
        ShotLog.open(folder / "log.sqlite3") as log,
        Board.connect(port, rig=rig, seed=SEED) as board,
    ):
        yield board, log


def truth(rig: Rig) -> ShutterModel:
    found = make_shutter(rig, SEED)
    assert found is not None
    return found


def test_the_hot_shoe_contact_shows_the_lag_and_its_scatter(make_rig: Any, tmp_path: Path) -> None:
    rig = make_rig('sync_input = "beam2"')
    with bench(rig, tmp_path) as (board, log):
        found = run(measure_lag(rig, count=12), board, log)
    assert found.shots == 12
    assert abs(found.mean_s - truth(rig).lag_s) < 4.0 * found.error_s
    assert 0.4 < found.scatter_s / truth(rig).scatter_s < 2.0


def test_a_flash_finds_the_lag_by_halving(make_rig: Any, tmp_path: Path) -> None:
    rig = make_rig('exposure = "1 s"\nshutter_scatter = "1 ms"')
    with bench(rig, tmp_path) as (board, log):
        found = run(search_lag(rig, board, exposure_s=1.0, asks=False), board, log)
    assert found.shots <= 11
    assert abs(found.mean_s - truth(rig).lag_s) < found.error_s + 2.0 * truth(rig).scatter_s


def test_a_contact_that_never_closes_is_named(make_rig: Any, tmp_path: Path) -> None:
    rig = make_rig('sync_input = "beam2"')
    with (
        bench(rig, tmp_path, "sim?fault=camera-cable") as (board, log),
        pytest.raises(CalibrationError),
    ):
        run(measure_lag(rig, count=3), board, log)


@pytest.mark.parametrize("camera", ["", 'sync_input = "beam1"'])
def test_an_input_of_its_own_is_needed(make_rig: Any, camera: str) -> None:
    rig = make_rig(camera)
    with pytest.raises(RigFileError, match="sync_input"):
        next(measure_lag(rig, count=3))


def test_the_lag_is_planned_for(make_rig: Any) -> None:
    """On bulb the contact closes earlier by the lag; in manual mode the flash is in the middle of the exposure."""
    plain, lagging = (make_plan(make_rig(text)) for text in ("", 'shutter_lag = "80 ms"'))
    assert _find_press(lagging) == pytest.approx(_find_press(plain))
    assert _find_opening(lagging) - _find_opening(plain) == pytest.approx(0.080), "all else later"
    timed = make_plan(make_rig('shutter_lag = "80 ms"\nexposure = "250 ms"'))
    assert timed.flash_s is not None
    middle_s = 0.5 * sum(timed.flash_s)
    assert _find_press(timed) + 0.080 + 0.125 == pytest.approx(middle_s)
    short = make_plan(make_rig('shutter_lag = "80 ms"\nexposure = "20 ms"'))
    assert _is_exposure_doubtful(short) and not _is_exposure_doubtful(timed)


def _is_exposure_doubtful(plan: Any) -> bool:
    return any(one.kind is CautionKind.EXPOSURE for one in plan.warnings)


def _find_press(plan: Any) -> float:
    return next(row.delay_s for row in plan.sequence.rows if row.output == "shutter")


def _find_opening(plan: Any) -> float:
    rows = [row for row in plan.sequence.rows if row.kind is SignalKind.VALVE]
    return min(row.delay_s for row in rows)


def test_the_advised_shutter_time_holds_every_flash(make_rig: Any, tmp_path: Path) -> None:
    scatter_s = 0.004
    first = make_plan(make_rig('shutter_lag = "80 ms"'))
    advised_s = advise_exposure(first.flash_s, scatter_s)
    assert advised_s is not None
    lag = f'shutter_lag = "80 ms"\nshutter_scatter = "4 ms"\nexposure = "{advised_s * 1e3} ms"'
    rig = make_rig(lag)
    plan = make_plan(rig)
    assert not _is_exposure_doubtful(plan)
    with bench(rig, tmp_path) as (board, log):
        shots = run(shoot(rig, plan.sequence, 12, warm_up=False), board, log)
    assert all(one.picture is not None and one.picture.shows for one in shots)


def test_a_shutter_that_opens_too_late_gives_a_black_picture(make_rig: Any, tmp_path: Path) -> None:
    """The check on the test above: with a lag that was not measured, a short exposure misses the flash."""
    rig = make_rig('exposure = "40 ms"')
    assert truth(rig).lag_s > 0.04
    plan = make_plan(rig)
    with bench(rig, tmp_path) as (board, log):
        shots = run(shoot(rig, plan.sequence, 2, warm_up=False), board, log)
    assert [one.record.state for one in shots] == ["fired", "fired"]
    assert not any(one.picture is not None and one.picture.shows for one in shots)
