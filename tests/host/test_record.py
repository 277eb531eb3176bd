"""Planned and measured edges are put together, and the record is what `shoot --json` prints."""

from __future__ import annotations

import json

import pytest
from two_drops import make_two_drops

from beamfall.board import Board
from beamfall.events import Edge
from beamfall.setup.sequence import Row, Sequence
from beamfall.setup.signals import Signal
from beamfall.shots import EdgeRecord, make_record, match_edges

HZ = 1_000_000
SIGNALS = Signal
TABLE = Sequence(
    (
        Row("release", 0, "valve1", 0.01, 0.005),
        Row("release", 0, "valve1", 0.06, 0.005),
        Row("beam1", 2, "flash1", 0.1, 0.002),
    ),
    window_s=1.0,
).to_table(HZ)


def seen(what: str, level: int, ticks: int, *, stamped: bool = True) -> Edge:
    return Edge(SIGNALS[what], level, ticks, stamped)


BEAM = [seen("beam1", 1, 300_000), seen("beam1", 0, 303_000)]
BEAM += [seen("beam1", 1, 350_000), seen("beam1", 0, 353_000)]
VALVE = [seen("valve1", 1, 10_000), seen("valve1", 0, 15_000)]
VALVE += [seen("valve1", 1, 60_003), seen("valve1", 0, 65_003)]
FLASH = [seen("flash1", 1, 450_002, stamped=False), seen("flash1", 0, 452_002, stamped=False)]


def test_every_edge_finds_its_plan() -> None:
    assert match_edges(TABLE, [*VALVE, *BEAM, *FLASH], 500_000) == (
        EdgeRecord("valve1", "on", 10_000, 10_000, "stamped"),
        EdgeRecord("valve1", "off", 15_000, 15_000, "stamped"),
        EdgeRecord("valve1", "on", 60_000, 60_003, "stamped"),
        EdgeRecord("valve1", "off", 65_000, 65_003, "stamped"),
        EdgeRecord("beam1", "dark", None, 300_000, "stamped"),
        EdgeRecord("beam1", "clear", None, 303_000, "stamped"),
        EdgeRecord("beam1", "dark", None, 350_000, "stamped"),
        EdgeRecord("beam1", "clear", None, 353_000, "stamped"),
        EdgeRecord("flash1", "on", 450_000, 450_002, "derived"),
        EdgeRecord("flash1", "off", 452_000, 452_002, "derived"),
    )


def test_a_flash_whose_beam_edge_never_came_has_neither_plan_nor_time() -> None:
    edges = match_edges(TABLE, [*VALVE, *BEAM[:2]], 1_000_000)
    assert edges[-2:] == (
        EdgeRecord("flash1", "on", None, None, "derived"),
        EdgeRecord("flash1", "off", None, None, "derived"),
    )


def test_an_edge_that_was_not_seen_keeps_its_plan_and_its_place() -> None:
    edges = match_edges(TABLE, [*VALVE[2:], *BEAM], 1_000_000)
    assert edges[0] == EdgeRecord("valve1", "on", 10_000, None)
    assert EdgeRecord("valve1", "on", 60_000, 60_003, "stamped") in edges
    assert EdgeRecord("flash1", "on", 450_000, None) in edges


def test_an_edge_too_many_stays_without_a_plan() -> None:
    edges = match_edges(TABLE, [*VALVE, seen("valve1", 1, 90_000)], 1_000_000)
    assert EdgeRecord("valve1", "on", None, 90_000, "stamped") in edges
    assert EdgeRecord("valve1", "on", 60_000, 60_003, "stamped") in edges


def test_a_shot_of_the_simulated_board_becomes_the_object_of_shoot_json() -> None:
    sequence = make_two_drops(blanking_s=0.02)
    with Board.connect("sim?seed=7") as board:
        outcome = board.shoot(sequence)
        table = sequence.make_table(board.info)
        timing = board.info.timing.label
    record = make_record(table, outcome, timing=timing, shot=3, seed=7)
    content = json.loads(json.dumps(record.to_json()))
    assert content["state"] == "fired" and content["cause"] is None
    assert content["timing"] == "simulated" and content["clock_hz"] == 125_000_000
    assert content["anchor"] == {"beam": "beam1", "edge": "dark", "count": 2}
    assert content["planned"] == {"flash_delay_ticks": 23_750_000, "spacing_ticks": 10_625_000}
    edges = content["edges"]
    times = [edge["ticks"] for edge in edges]
    assert times == sorted(times)
    for edge in edges:
        assert set(edge) == {"what", "edge", "planned_ticks", "ticks", "source"}
        if edge["what"].startswith(("valve", "flash")):
            assert edge["planned_ticks"] == edge["ticks"], "virtual time is exact"
        else:
            assert edge["planned_ticks"] is None
    dark = [e["ticks"] for e in edges if (e["what"], e["edge"]) == ("beam1", "dark")]
    flash = [e["ticks"] for e in edges if (e["what"], e["edge"]) == ("flash1", "on")]
    assert flash == [pytest.approx(dark[1] + 23_750_000, abs=0)]
