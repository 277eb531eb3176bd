"""Sequences in seconds, tables in ticks, and what a table commands."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

import pytest

from beamfall.board import Board
from beamfall.errors import SequenceError
from beamfall.link.welcome import Welcome
from beamfall.setup.limits import BoardLimits
from beamfall.setup.rig import EXAMPLE
from beamfall.setup.sequence import Row, Sequence
from beamfall.setup.sequence_file import load_sequence
from beamfall.setup.table import Table, TickRow, count_beam_edges, predict_edges
from beamfall.shots import ShotLog
from beamfall.workflows.series import Shooter

HZ = 125_000_000
TWO_DROPS = Sequence(
    (
        Row("beam1", 2, "flash1", 0.19, 0.002),
        Row("release", 0, "valve1", 0.185, 0.013),
        Row("release", 0, "valve1", 0.1, 0.013),
        Row("release", 0, "shutter", 0.00001, 0.9),
    ),
    window_s=1.0,
    blanking_s=0.02,
)


def test_seconds_become_ticks_and_rows_come_in_the_boards_order() -> None:
    table = TWO_DROPS.to_table(HZ)
    assert [(row.output, row.delay_ticks, row.width_ticks) for row in table.rows] == [
        ("shutter", 1_250, 112_500_000),
        ("valve1", 12_500_000, 1_625_000),
        ("valve1", 23_125_000, 1_625_000),
        ("flash1", 23_750_000, 250_000),
    ]
    assert [row.origin for row in table.rows] == [3, 2, 1, 0]
    assert (table.window_ticks, table.blanking_ticks, table.awaits) == (HZ, 2_500_000, (2, 0))
    assert table.spacing_ticks() == 10_625_000
    flash = table.flash_row()
    assert flash is not None and (flash.anchor, flash.count) == ("beam1", 2)


def test_a_table_survives_json() -> None:
    table = TWO_DROPS.to_table(HZ)
    again = Table.from_dict(json.loads(json.dumps(table.to_dict())))
    assert again == table and again.digest == table.digest
    assert [row.origin for row in again.rows] == [row.origin for row in table.rows]


def test_the_digest_is_of_what_the_board_gets_and_of_nothing_else() -> None:
    import hashlib
    import struct

    # protocol/SPEC.md: the first 16 bytes of the SHA-256 of table_begin's payload after its digest
    # field and of all row records, little-endian, packed here by hand.
    head = struct.pack("<HIIIIBBBB", 4, HZ, 6_250_000, 2_500_000, 0, 1, 1, 2, 0)
    rows = b"".join(
        struct.pack("<BBBBII", *row)
        for row in (
            (0, 0, 8, 0, 1_250, 112_500_000),
            (0, 0, 1, 0, 12_500_000, 1_625_000),
            (0, 0, 1, 0, 23_125_000, 1_625_000),
            (1, 2, 4, 0, 23_750_000, 250_000),
        )
    )
    assert TWO_DROPS.to_table(HZ).digest == hashlib.sha256(head + rows).digest()[:16]
    reordered = Sequence(tuple(reversed(TWO_DROPS.rows)), window_s=1.0, blanking_s=0.02)
    assert reordered.to_table(HZ).digest == TWO_DROPS.to_table(HZ).digest


def test_planned_edges_follow_the_beam_once_it_has_come() -> None:
    table = TWO_DROPS.to_table(HZ)
    before = predict_edges(table)
    assert [(edge.what, edge.on) for edge in before[-2:]] == [("flash1", True), ("flash1", False)]
    assert before[-1].ticks is None
    edges = predict_edges(table, {"beam1": [35_000_000, 46_000_000]})
    flash = [edge for edge in edges if edge.what == "flash1"]
    assert [edge.ticks for edge in flash] == [69_750_000, 70_000_000]
    times = [edge.ticks for edge in edges]
    assert times == sorted(times)  # type: ignore[type-var]


@pytest.mark.parametrize(
    ("settings", "counted"),
    [
        ({}, [100, 200, 230, 400]),
        ({"blanking_ticks": 50}, [100, 200, 400]),
        ({"dwell_ticks": 20}, [100, 230]),  # 200-210 is too short, 400 may yet become clear
        ({"beam_edges": ("clear", "dark")}, [130, 210, 290]),
        ({"beam_edges": ("clear", "dark"), "dwell_ticks": 70}, [130, 290]),
    ],
)
def test_which_beam_edges_count(settings: dict[str, object], counted: list[int]) -> None:
    table = Table(HZ, (), **settings)  # type: ignore[arg-type]
    seen = [(100, "dark"), (130, "clear"), (200, "dark"), (210, "clear"), (230, "dark")]
    seen += [(290, "clear"), (400, "dark")]
    assert count_beam_edges(table, "beam1", seen, last_ticks=410) == counted


def test_the_flash_delay_can_be_changed() -> None:
    changed = TWO_DROPS.with_flash_delay(0.2)
    flash = changed.flash_row()
    assert flash is not None and flash.delay_s == 0.2
    assert changed.rows[1:] == TWO_DROPS.rows[1:]
    with pytest.raises(SequenceError, match="no flash"):
        Sequence((Row("release", 0, "valve1", 0.1, 0.01),)).with_flash_delay(0.2)


@pytest.mark.parametrize(
    ("make", "named"),
    [
        (lambda: Row("beam3", 1, "flash1", 0, 0.1), ("anchor", "'beam3'", "release, beam1")),
        (lambda: Row("beam1", 1, "flash9", 0, 0.1), ("output", "'flash9'", "valve1,")),
        (lambda: Row("beam1", 1, "flash1", -1, 0.1), ("delay", "flash1", "-1 s")),
        (lambda: Row("beam1", 1, "flash1", float("nan"), 0.1), ("delay", "flash1", "nan s")),
        (lambda: Sequence((), window_s=-1), ("window", "-1 s")),
        (lambda: Sequence((), beam1_edge="dim"), ("beam1_edge", "'dim'", "dark", "clear")),
        (lambda: Sequence((), await1=256), ("await1", "256", "0 to 255")),
        (
            lambda: Sequence((Row("release", 0, "valve1", 40, 0.1),)).to_table(HZ),
            ("delay", "valve1", "40 s", "125000000 Hz", "34.36 s"),
        ),
    ],
)
def test_impossible_values_are_refused(make: object, named: tuple[str, ...]) -> None:
    with pytest.raises(SequenceError) as caught:
        make()  # type: ignore[operator]
    assert all(part in str(caught.value) for part in named), caught.value


def test_a_table_is_made_for_a_board(welcome: Welcome) -> None:
    assert BoardLimits.from_welcome(welcome) == BoardLimits()
    table = TWO_DROPS.make_table(welcome)
    assert table.requests[-1].name == "table_commit"
    assert TWO_DROPS.make_table(welcome) == table
    too_long = Sequence((Row("release", 0, "valve1", 0.1, 0.3),))
    with pytest.raises(SequenceError, match="300 ms.* 200 ms"):
        too_long.make_table(welcome)


def test_the_default_limits_are_those_of_the_simulated_board() -> None:
    code = (
        "from beamfall.board import Board; from beamfall.setup.limits import BoardLimits\n"
        "with Board.connect('sim') as board:\n"
        "    assert BoardLimits.from_welcome(board.info) == BoardLimits(), board.info\n"
    )
    subprocess.run([sys.executable, "-c", code], check=True)


FILE = """
window = "1 s"
blanking = "20 ms"
[beam1]
edge = "clear"
awaits = 3
[[row]]
output = "valve1"
delay = "100 ms"
width = "13 ms"
[[row]]
anchor = "beam1"
output = "flash1"
delay = "190 ms"
width = "2000 us"
"""


def test_a_sequence_file_says_it_all_with_units(tmp_path: Path) -> None:
    path = tmp_path / "one.toml"
    path.write_text(FILE, encoding="utf-8")
    assert load_sequence(path) == Sequence(
        (Row("release", 0, "valve1", 0.1, 0.013), Row("beam1", 1, "flash1", 0.19, 0.002)),
        window_s=1.0,
        blanking_s=0.02,
        beam1_edge="clear",
        await1=3,
        name="one",
    )


@pytest.mark.parametrize(
    ("change", "key", "found", "expected"),
    [
        (("window =", "windo ="), "windo", None, "window"),
        (('"1 s"', "1"), "window", 1, ""),
        (('"clear"', '"shadow"'), "beam1.edge", "shadow", "clear"),
        (("awaits = 3", "awaits = 300"), "beam1.awaits", 300, "255"),
        (('"valve1"', '"valve9"'), "row[1].output", "valve9", "valve2"),
        (('delay = "100 ms"', ""), "row[1].delay", None, ""),
        (('delay = "100 ms"', 'delay = "-1 ms"'), "row[1].delay", "-1 ms", "0 s"),
        (('output = "valve1"', 'output = "valve1"\ncount = 1'), "row[1].count", 1, ""),
        (("[[row]]", "[[rows]]"), "row", None, "[[row]]"),
    ],
)
def test_what_is_wrong_with_a_file_is_told(
    tmp_path: Path, change: tuple[str, str], key: str, found: object, expected: str
) -> None:
    path = tmp_path / "one.toml"
    path.write_text(FILE.replace(*change), encoding="utf-8")
    with pytest.raises(SequenceError) as caught:
        load_sequence(path)
    assert str(path) in str(caught.value)
    told = {problem.key: problem for problem in caught.value.problems}
    assert told[key].found == found and expected in told[key].expected
    assert found is None or str(found) in told[key].text


def test_a_rig_file_in_place_of_a_sequence_file_is_one_problem() -> None:
    with pytest.raises(SequenceError) as caught:
        load_sequence(EXAMPLE)
    (problem,) = caught.value.problems
    assert (problem.found, problem.expected) == ("rig file", "sequence file")
    assert str(caught.value) == problem.text and "`beamfall rig check`" in problem.text


def test_a_sequence_file_that_is_no_toml_is_named(tmp_path: Path) -> None:
    path = tmp_path / "one.toml"
    path.write_text(FILE.replace("[beam1]", "["), encoding="utf-8")
    with pytest.raises(SequenceError) as caught:
        load_sequence(path)
    assert str(path) in str(caught.value) and isinstance(caught.value.__cause__, ValueError)


def test_rows_say_where_they_stand() -> None:
    row = TickRow("beam1", 2, "flash1", 23_750_000, 250_000, origin=2)
    assert row.describe(HZ) == "row 3 (flash1, edge 2 of beam1 + 190.000 ms)"


def test_a_table_for_another_clock_is_refused() -> None:
    with Board.connect("sim") as board:
        table = TWO_DROPS.to_table(board.info.clock_hz // 2)
        with pytest.raises(SequenceError):
            board.arm(table)


def test_a_shot_makes_its_table_once(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    made: list[Sequence] = []
    to_table = Sequence.to_table

    def count(sequence: Sequence, clock_hz: int) -> Table:
        made.append(sequence)
        return to_table(sequence, clock_hz)

    monkeypatch.setattr(Sequence, "to_table", count)
    with ShotLog.open(tmp_path / "log.sqlite3") as log, Board.connect("sim") as board:
        shooter = Shooter.begin(board, log, "shoot", rig=None)
        record = shooter.fire(TWO_DROPS)
    assert record.state == "fired" and made == [TWO_DROPS]
