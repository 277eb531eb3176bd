"""A watch that a killed program has left behind does not keep the next one from its work."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

from beamfall.board import Board
from beamfall.cli import main
from beamfall.faults.setup import make_setup
from beamfall.setup.rig import example_rig
from beamfall.shots import ShotLog
from beamfall.workflows.series import Shooter


@pytest.fixture(autouse=True)
def left_behind(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Every board that is connected is still watching, and has seen something."""
    connect: Callable[..., Board] = Board.connect

    def find_watching(*arguments: object, **more: object) -> Board:
        board = connect(*arguments, **more)
        board.watch(True)
        board.transport.sleep(2.0)
        return board

    monkeypatch.setattr(Board, "connect", find_watching)


def test_a_shot_is_fired_all_the_same() -> None:
    rig = example_rig()
    with ShotLog.open() as log, Board.connect("sim", rig=rig, seed=1) as board:
        shooter = Shooter.begin(board, log, "shoot", rig=rig)
        assert shooter.fire(make_setup(rig).sequence).state == "fired"


@pytest.mark.parametrize(
    "command", [["drip"], ["flash"], ["beam", "--for", "1 s"], ["shoot"], ["rinse", "--yes"]]
)
def test_a_command_does_its_work(command: list[str]) -> None:
    assert main([*command, "--port", "sim?fault=valve-leaking&seed=1"]) == 0
