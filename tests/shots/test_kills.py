"""A program that is killed in the middle of a series loses nothing; 200 kills are in tests/benchmarks/log_kills.py."""

from __future__ import annotations

import sys
from pathlib import Path

import pytest
from served_board import TWO_DROPS, ServedBoard

from beamfall.board import Board
from beamfall.setup.rig import example_rig
from beamfall.shots import ShotLog
from beamfall.workflows.series import Shooter, settle_earlier


@pytest.mark.skipif(sys.platform == "win32", reason="Windows has no kill -9")
@pytest.mark.full
def test_kill_9_in_a_series(tmp_path: Path) -> None:
    from killed_series import kill_series

    tally = kill_series(tmp_path / "shots.sqlite3", 6, seed=1)
    assert tally.released >= 8
    assert (tally.without_row, tally.double, tally.corrupt) == (0, 0, 0), tally.say()
    assert tally.completed + tally.unknown == tally.released, tally.say()


def test_an_outcome_that_was_not_written_is_taken_from_the_board(log: ShotLog) -> None:
    with Board.connect("sim", rig=example_rig(), seed=1) as board:
        shooter = Shooter.begin(board, log, "shoot", rig=example_rig())
        ticket = board.arm(TWO_DROPS)
        table = TWO_DROPS.make_table(board.info)
        shot = log.begin_shot(
            shooter.series, table=table, board=board.info, port="sim", release=ticket.release
        )
        board.release(ticket)  # and here the program ends
        assert settle_earlier(board, log) == [shot]
        assert log.read_shot(shot).record.state == "fired"
        assert settle_earlier(board, log) == []


def test_a_shot_that_was_never_released_is_marked(log: ShotLog) -> None:
    with ServedBoard() as served, Board.connect(served.url, rig=example_rig()) as board:
        shooter = Shooter.begin(board, log, "shoot", rig=example_rig())
        table = TWO_DROPS.make_table(board.info)

        def begin() -> int:
            return log.begin_shot(
                shooter.series, table=table, board=board.info, port="served",
                release=board.status().last_release + 1,
            )  # fmt: skip

        first = begin()  # and here the program ends
        settle_earlier(board, log)
        assert (log.read_shot(first).record.state, log.read_shot(first).record.cause) == (
            "not-released", "program-ended",
        )  # fmt: skip
        record = shooter.fire(TWO_DROPS)
        assert record.state == "fired" and served.valve_openings == 2
        # The same report once more, as a board repeats what was not acknowledged, completes no other shot.
        second = begin()
        assert log.find_begun(board.info.unique_id, board.info.boot_id, 1) is None
        assert log.find_begun(board.info.unique_id, board.info.boot_id, 2) == second


def test_a_simulated_board_in_this_process_proves_nothing_of_its_earlier_life(log: ShotLog) -> None:
    """Each start of `--port sim` has the same boot id and counts its releases from 1 again."""
    for _ in range(2):
        with Board.connect("sim", rig=example_rig(), seed=1) as board:
            shooter = Shooter.begin(board, log, "shoot", rig=example_rig())
            shot = log.begin_shot(
                shooter.series, table=TWO_DROPS.make_table(board.info), board=board.info, port="sim",
                release=1,
            )  # fmt: skip
    assert log.read_shot(shot - 1).record.state == "outcome unknown"


def test_what_another_life_of_the_board_did_stays_unknown(log: ShotLog) -> None:
    with Board.connect("sim", rig=example_rig(), seed=1) as board:
        shooter = Shooter.begin(board, log, "shoot", rig=example_rig())
        info = board.info
        shot = log.begin_shot(
            shooter.series, table=TWO_DROPS.make_table(info), board=info, port="sim", release=1
        )
        assert log.find_never_released(info.unique_id, info.boot_id + 1, 0) == []
        assert log.read_shot(shot).record.state == "outcome unknown"
