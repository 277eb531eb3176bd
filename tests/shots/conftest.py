"""Series for the tests: simulated rigs whose truth changes from shot to shot as the test says."""

from __future__ import annotations

import dataclasses
import sys
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from beamfall.board import Board
from beamfall.setup.rig import Rig, example_rig
from beamfall.setup.sequence import Sequence
from beamfall.shots import ShotLog
from beamfall.sim.model import ValveModel
from beamfall.workflows.series import Shooter

sys.path.insert(0, str(Path(__file__).parent))

from served_board import TWO_DROPS  # noqa: E402

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
        simulated = board.transport.rig
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
