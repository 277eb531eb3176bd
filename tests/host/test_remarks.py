"""Remarks say what a shot's state does not: on simulated rigs with the fault, and on none without it."""

from __future__ import annotations

from dataclasses import replace

import pytest

from beamfall.board import Board
from beamfall.planning.make import make_plan
from beamfall.plot.timeline import describe_timeline
from beamfall.setup.rig import example_rig
from beamfall.shots import EdgeRecord, ShotRecord, make_record
from beamfall.shots.describe import describe_record
from beamfall.shots.remarks import Oddity, find_remarks, list_remarks


def shoot(fault: str | None, shots: int = 1, rest_s: float = 5.0) -> list[ShotRecord]:
    rig = example_rig()
    port = "sim" if fault is None else f"sim?fault={fault}"
    records = []
    with Board.connect(port, rig=rig, seed=3) as board:
        sequence = make_plan(rig).sequence
        for _ in range(shots):
            outcome = board.shoot(sequence)
            table = sequence.make_table(board.info)
            records.append(make_record(table, outcome, timing="simulated"))
            board.settle()
            board.sleep(rest_s)
    return records


@pytest.mark.parametrize(
    ("fault", "oddity", "count", "of"),
    [
        ("flash-off", Oddity.DARK, 1, 1),
        ("flash-asleep", Oddity.DARK, 1, 1),
        ("valve-stuck-open", Oddity.EARLY_EDGE, None, None),
        ("satellites-counted-as-drops", Oddity.MORE_EDGES, 4, 2),
    ],
)
def test_a_fault_that_fires_all_the_same_is_remarked(
    fault: str, oddity: Oddity, count: int | None, of: int | None
) -> None:
    (record,) = shoot(fault)
    assert record.state == "fired"
    (remark,) = find_remarks(record)
    assert (remark.oddity, remark.count, remark.of) == (oddity, count, of)
    assert list_remarks(record) == [remark.text]
    assert remark.text in describe_record(record)
    timeline = describe_timeline({**record.to_json(), "remarks": [remark.text]})
    assert remark.text in timeline.alerts


def test_a_flash_that_still_recycles_leaves_shots_dark() -> None:
    assert example_rig().flashes[0].recycle_s == 1.5
    dark = [list_remarks(record) != [] for record in shoot(None, shots=4, rest_s=0.2)]
    assert dark[:2] == [False, True]


def test_a_sound_rig_gives_no_remark() -> None:
    for record in shoot(None, shots=20):
        assert list_remarks(record) == []


def test_without_a_sensor_nobody_expects_light() -> None:
    (record,) = shoot("flash-off")
    assert list_remarks(record, sees_light=False) == []
    assert "light" not in describe_record(record, sees_light=False)


def test_flashes_together_may_give_one_light_and_late_ones_were_not_looked_at() -> None:
    (record,) = shoot(None)
    flash = next(edge for edge in record.edges if edge.what == "flash1" and edge.edge == "on")
    assert flash.ticks is not None
    hz = record.clock_hz
    second = EdgeRecord("flash2", "on", flash.ticks + hz // 100, flash.ticks + hz // 100, "stamped")
    assert list_remarks(replace(record, edges=(*record.edges, second))) == []
    alone = EdgeRecord("flash2", "on", flash.ticks + hz // 10, flash.ticks + hz // 10, "stamped")
    (remark,) = find_remarks(replace(record, edges=(*record.edges, alone)))
    assert (remark.oddity, remark.count, remark.of) == (Oddity.DARK, 1, 2)
    short = {**record.counts, "ended_ticks": flash.ticks + hz // 1000}
    dark = tuple(edge for edge in record.edges if edge.what != "light1")
    assert list_remarks(replace(record, edges=dark)) != []
    assert list_remarks(replace(record, edges=dark, counts=short)) == []
