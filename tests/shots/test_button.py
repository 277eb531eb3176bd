"""Shots that the board's own button releases, with no host waiting for them, are in the log as others are."""

from __future__ import annotations

import os
import re
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import pytest
from changed_log import change_shot
from command_line import run_cli
from pressed_button import RealBoard, RigWithButton
from served_board import TWO_DROPS

from beamfall.board import Board
from beamfall.errors import UserError
from beamfall.events import Outcome
from beamfall.repeatability.read import read_series
from beamfall.setup.rig import example_rig
from beamfall.shots import ShotLog
from beamfall.shots.remarks import list_remarks
from beamfall.shots.repeat import find_peers, rebuild_sequence
from beamfall.sim.build import draw_model
from beamfall.sim.embedded import SimulatedTransport
from beamfall.workflows.series import Shooter, keep_unclaimed, settle_earlier

BASE = 2**29  # protocol/messages.toml, button_release_base


@pytest.fixture
def rig() -> RigWithButton:
    return RigWithButton(draw_model(example_rig(), 3), 3)


@pytest.fixture
def transport(rig: RigWithButton) -> SimulatedTransport:
    return SimulatedTransport(rig, seed=3)


def test_presses_make_a_series_of_their_own_with_the_plan_by_the_tables_digest(
    log: ShotLog, rig: RigWithButton, transport: SimulatedTransport
) -> None:
    with RealBoard.over(transport) as board:
        shooter = Shooter.begin(board, log, "shoot", rig=example_rig())
        fired = shooter.fire(TWO_DROPS)
        rig.press(board)
        rig.press(board)
        assert settle_earlier(board, log) == [2, 3]
        assert settle_earlier(board, log) == []
        board.sleep(2.0)
        shooter.fire(TWO_DROPS)
    assert [(one.kind, one.shots, one.unknown) for one in log.list_series()] == [
        ("shoot", 2, 0),
        ("button", 2, 0),
    ]
    for shot, release in ((2, BASE + 1), (3, BASE + 2)):
        logged = log.read_shot(shot)
        assert (logged.record.release, logged.record.state) == (release, "fired")
        assert logged.table == TWO_DROPS.make_table(board.info)

        def commanded(record):
            edges = [e for e in record.edges if e.what.startswith(("valve", "camera"))]
            return [(e.what, e.edge, e.planned_ticks, e.ticks) for e in edges]

        assert commanded(logged.record) == commanded(fired)
        dark = [edge for edge in logged.record.edges if (edge.what, edge.edge) == ("beam1", "dark")]
        assert len(dark) == 2 and all(edge.ticks for edge in dark)


def test_a_press_between_two_shots_of_a_series_has_the_series_rig(
    log: ShotLog, rig: RigWithButton, transport: SimulatedTransport
) -> None:
    with RealBoard.over(transport) as board:
        shooter = Shooter.begin(board, log, "shoot", rig=example_rig())
        shooter.fire(TWO_DROPS)
        rig.press(board)
        shooter.fire(TWO_DROPS)
    pressed = log.read_shot(3)  # the second shot was begun before the press was written down
    assert (pressed.record.release, pressed.line.rig_name) == (BASE + 1, example_rig().name)
    assert [line.number for line in log.list_shots(series=shooter.series)] == [1, 2]


def test_a_table_that_the_log_has_never_seen_leaves_what_was_measured(
    log: ShotLog, rig: RigWithButton, transport: SimulatedTransport
) -> None:
    with RealBoard.over(transport) as board:
        digest = board.upload(TWO_DROPS)
        rig.press(board)
        (kept,) = keep_unclaimed(board, log)
    assert (kept.state, kept.button, kept.planned) == ("fired", True, False)
    assert kept.shot is not None
    logged = log.read_shot(kept.shot)
    assert digest.hex() in logged.line.note
    assert {edge.planned_ticks for edge in logged.record.edges} == {None}
    opened = [e.ticks for e in logged.record.edges if (e.what, e.edge) == ("valve1", "on")]
    table = TWO_DROPS.make_table(board.info)
    assert opened == [row.delay_ticks for row in table.rows if row.output == "valve1"]
    with pytest.raises(UserError):
        rebuild_sequence(logged.table)


def test_a_table_put_into_a_slot_is_known_when_the_button_releases_it(
    log: ShotLog, rig: RigWithButton, transport: SimulatedTransport
) -> None:
    other = replace(TWO_DROPS, tail_s=TWO_DROPS.tail_s + 0.1)
    with RealBoard.over(transport) as board:
        for sequence in (TWO_DROPS, other):
            log.keep_table(sequence.make_table(board.info))
        board.upload(TWO_DROPS)
        rig.press(board)
        (kept,) = keep_unclaimed(board, log)
        assert kept.planned and kept.shot is not None
        assert log.read_shot(kept.shot).table == TWO_DROPS.make_table(board.info)


def test_a_report_that_is_repeated_to_the_next_program_is_one_shot(
    path: Path, rig: RigWithButton, transport: SimulatedTransport
) -> None:
    with ShotLog.open(path) as log:
        board = RealBoard.over(transport)
        board.upload(TWO_DROPS)
        rig.press(board)
        (kept,) = keep_unclaimed(board, log)  # and the program ends before it could acknowledge
        again = RealBoard.over(transport)
        assert again.status().reports_kept > 0
        assert settle_earlier(again, log) == []
        assert again.status().reports_kept == 0
        assert [line.shot for line in log.list_shots()] == [kept.shot]


def test_a_press_that_was_only_begun_in_the_log_never_passes_for_not_released(log: ShotLog) -> None:
    """The program was killed between the two steps of recording the shot, and then the board restarted."""
    with Board.connect("sim", rig=example_rig(), seed=1) as board:
        info, table = board.info, TWO_DROPS.make_table(board.info)
        series = log.begin_series("button")
        pressed, hosts = (
            log.begin_shot(series, table=table, board=info, port="sim", release=release)
            for release in (BASE + 1, 7)
        )
    assert log.find_never_released(info.unique_id, info.boot_id, 0, below=BASE) == [hosts]


class ForgetfulBoard(RealBoard):
    """The first report of edges of its first shot was dropped for newer ones before anybody came."""

    forgotten = 0

    def take_outcomes(self) -> list[Outcome]:
        found = super().take_outcomes()
        if found and not self.forgotten:
            first = found[0]
            self.forgotten = len(first.edges) // 2
            found[0] = replace(first, edges=first.edges[self.forgotten :], complete=False)
        return found


def test_a_shot_whose_edges_the_board_had_to_forget_says_how_many(
    log: ShotLog, rig: RigWithButton, transport: SimulatedTransport
) -> None:
    with ForgetfulBoard.over(transport) as board:
        board.arm(TWO_DROPS)
        log.keep_table(TWO_DROPS.make_table(board.info))
        for _ in range(7):
            rig.press(board)
        kept = settle_earlier(board, log)
        forgotten = board.forgotten
    missing = [log.read_shot(shot).record.counts["edges_missing"] for shot in kept]
    assert missing == [forgotten] + [0] * 6 and forgotten > 1
    (remark,), none = (list_remarks(log.read_shot(shot).record) for shot in kept[:2])
    assert re.search(rf"\b{forgotten}\b.*edges", remark) and none == []
    # Its other edges are not the n-th ones they seem to be: nothing is judged by them.
    assert {record.shot for record in find_peers(log, kept[1])} == set(kept[2:])
    read = read_series(log, log.list_series()[-1].series)
    assert read.shots == 6 and read.edges_lost == forgotten


def test_missing_edges_are_shown(path: Path, log: ShotLog, fire_series: Callable[..., int]) -> None:
    fire_series(log, 1)
    (line,) = log.list_shots()
    counts = log.read_shot(line.shot).record.counts
    change_shot(log, line.shot, counts={**counts, "edges_missing": 4})
    (remark,) = list_remarks(log.read_shot(line.shot).record)
    log.close()
    done = run_cli("shots", "show", 1, environment={**os.environ, "BEAMFALL_LOG": str(path)})
    assert "4" in remark and remark in done.stdout
