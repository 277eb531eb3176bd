"""Where the drops of a shot would be at its light, from their beam edges."""

from __future__ import annotations

from dataclasses import replace

import pytest
from photographed_rigs import draw_rig, make_shot

from beamfall.board import Board
from beamfall.planning.in_flight import expect_drops
from beamfall.setup.rig import example_rig
from beamfall.setup.sequence import Row, Sequence
from beamfall.shots import ShotLog
from beamfall.workflows.picture_scene import expect_logged
from beamfall.workflows.series import Shooter


@pytest.fixture(scope="module")
def shots():
    """A rig's file and its shot, of 20 rigs that differ from their files as files may be wrong."""
    found = []
    for number in range(20):
        file, model, draws = draw_rig(number, "in flight")
        for kind in ("before", "after"):
            shot = make_shot(model, kind, draws)
            if shot is not None:
                found.append((file, shot))
    return found


def test_drop_2_is_where_the_standard_error_says(shots) -> None:
    """Of the drops, 90 % intervals hold most; below the surface too, where the drop would be without jet and dish."""
    held = [
        abs(expect_drops(file, shot.seen)[1].height_m - shot.heights_m[1])
        <= 1.645 * expect_drops(file, shot.seen)[1].error_m
        for file, shot in shots
    ]
    assert sum(held) >= 0.8 * len(held)
    assert any(shot.heights_m[1] < 0.0 for _, shot in shots)


def test_the_jet_begins_when_the_standard_error_says(shots) -> None:
    held = []
    for file, shot in shots:
        first = expect_drops(file, shot.seen)[0]
        onset_s, error_s = first.jet_after_s
        true_s = 1e-3 * shot.scene["columns"][0]["jet_course"][0]
        held.append(abs(onset_s - true_s) <= 1.645 * error_s)
        assert first.calm_after_s[0] > onset_s
    assert sum(held) >= 0.8 * len(held)


def test_what_is_wrong_about_a_rig_is_the_same_for_all_its_shots() -> None:
    """The error is the rig's: two shots of one rig are off by the same, up to their own error."""
    for number in range(6):
        file, model, draws = draw_rig(number, "in flight")
        made = [shot for _ in range(3) if (shot := make_shot(model, "before", draws)) is not None]
        expected = [expect_drops(file, shot.seen)[1] for shot in made]
        off = [one.height_m - shot.heights_m[1] for one, shot in zip(expected, made, strict=True)]
        assert max(off) - min(off) < 3.0 * max(one.shot_error_m for one in expected)


def test_a_drop_whose_edge_was_not_seen_is_nowhere(shots) -> None:
    file, shot = shots[0]
    blind = replace(shot.seen, edges_s=(shot.seen.edges_s[0], None))
    first, second = expect_drops(file, blind)
    assert first is not None and second is None
    without = replace(file, beams=())
    assert expect_drops(without, replace(shot.seen, edges_s=(), dwells_s=())) == (None, None)


def test_the_log_of_a_shot_says_where_its_drops_were(tmp_path) -> None:
    rig = example_rig()
    opening = rig.valves[0].opening_s
    rows = [Row("release", 0, "valve1", at, opening) for at in (0.01, 0.095)]
    two_drops = Sequence((*rows, Row("beam1", 2, "flash1", 0.19, 0.002)), window_s=1.0)
    with (
        ShotLog.open(tmp_path / "shots.sqlite3") as log,
        Board.connect("sim", rig=rig, seed=1) as board,
    ):
        record = Shooter.begin(board, log, "shoot", rig=rig).fire(two_drops)
    truth = record.truth
    second = truth["drops"][1]
    ahead_s = (second["impact_ticks"] - truth["pictures"][0]["light_ticks"]) / record.clock_hz
    expected = expect_logged(rig, record)[1]
    height_m = ahead_s * second["impact_speed_m_s"]
    assert expected.height_m == pytest.approx(height_m, abs=3.0 * expected.error_m)
    assert expect_logged(rig, replace(record, edges=())) == ()
