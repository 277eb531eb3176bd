"""Series for the tests: simulated rigs whose truth changes from shot to shot as the test says."""

from __future__ import annotations

import dataclasses
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from beamfall.board import Board
from beamfall.rig import Rig, example_rig
from beamfall.sequence import Row, Sequence
from beamfall.series import Shooter
from beamfall.shots import ShotLog
from beamfall.simulation.model import ValveModel

TWO_DROPS = Sequence(
    rows=(
        Row("release", 0, "valve1", 0.101, 0.013),
        Row("release", 0, "valve1", 0.2056, 0.013),
        Row("beam1", 2, "flash1", 0.186, 0.002),
    ),
    window_s=1.0,
    blanking_s=0.02,
)
Change = Callable[[ValveModel, int], ValveModel]


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "shots.sqlite3"


@pytest.fixture
def log(path: Path) -> Iterator[ShotLog]:
    with ShotLog.open(path) as opened:
        yield opened


@pytest.fixture
def fire_series() -> Callable[..., int]:
    """The function that fires a series and returns its number."""
    return _fire_series


def _fire_series(
    log: ShotLog,
    count: int,
    *,
    seed: int = 3,
    change: Change | None = None,
    rig: Rig | None = None,
    sequence: Sequence = TWO_DROPS,
) -> int:
    """Fire a series on the simulated board; `change` is given the valve's truth and the shot's number."""
    rig = rig or example_rig()
    with Board.connect("sim", rig=rig, seed=seed) as board:
        shooter = Shooter.begin(board, log, "shoot", rig=rig, seed=seed)
        simulated = board.simulated_rig
        assert simulated is not None
        whole = simulated.model
        for number in range(count):
            if change is not None:
                valves = tuple(change(valve, number) for valve in whole.valves)
                simulated.model = dataclasses.replace(whole, valves=valves)
            if number:
                shooter.rest(5.0)
            shooter.fire(sequence)
    return shooter.series
