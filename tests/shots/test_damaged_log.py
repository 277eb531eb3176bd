"""A damaged log: what can be read is shown, what cannot is named, and `shots mend` saves what is intact."""

from __future__ import annotations

import contextlib
import csv
import os
import sqlite3
from collections.abc import Iterator
from pathlib import Path

import pytest
from damaged_logs import fill, judge, replace_texts, run, try_damage
from full_disk import full_disk
from tiers import in_full

from beamfall.errors import FileWriteError, LogDamaged, LogError
from beamfall.fault_report import BUG
from beamfall.setup.table import Table, TickRow
from beamfall.shots import ShotLog
from beamfall.shots.export import export_log
from beamfall.shots.mend import mend_log
from beamfall.shots.record import DAMAGED


@pytest.fixture(scope="module")
def whole(tmp_path_factory: pytest.TempPathFactory) -> bytes:
    path = tmp_path_factory.mktemp("whole") / "shots.sqlite3"
    fill(path)
    return path.read_bytes()


@pytest.fixture
def path(tmp_path: Path, whole: bytes, monkeypatch: pytest.MonkeyPatch) -> Path:
    file = tmp_path / "shots.sqlite3"
    file.write_bytes(whole)
    monkeypatch.setenv("BEAMFALL_LOG", str(file))
    return file


@pytest.fixture
def damaged(path: Path) -> Iterator[Path]:
    """A log of 8 shots whose shot 5 has one byte flipped."""
    with ShotLog.open(path) as log:
        log._connection.execute(
            "UPDATE shot SET record = replace(record, 'fired', 'firee') WHERE id = 5"
        )
    yield path


@pytest.mark.parametrize(
    "seeds", [range(1), *in_full(range(1, 10), *(range(n, n + 10) for n in range(10, 100, 10)))]
)
def test_no_damage_is_a_fault_of_the_program(
    seeds: range, whole: bytes, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("BEAMFALL_LOG", "")  # put back afterwards
    assert [wrong for seed in seeds for wrong in try_damage(whole, tmp_path, seed)] == []


def test_the_damaged_shot_is_named_and_the_others_are_shown(damaged: Path) -> None:
    heard: list[str] = []
    with ShotLog.open(damaged) as log:
        log.on_damage = heard.append
        states = {line.shot: line.state for line in log.list_shots()}
        assert states.pop(5) == DAMAGED and set(states.values()) == {"fired"} and len(states) == 7
        with pytest.raises(LogDamaged) as caught:
            log.read_shot(5)
        assert caught.value.what == "shot 5"
        assert [one.record.shot for one in log.read_shots(series=1)] == [1, 2, 3, 4, 6]
        with pytest.raises(LogDamaged):
            log.set_note(5, "this would write over what is left")
    assert len(heard) == 1 and "shot 5" in heard[0], "named once, however often it is met"


def test_an_export_leaves_the_damaged_shot_out(damaged: Path, tmp_path: Path) -> None:
    with ShotLog.open(damaged) as log:
        assert export_log(log, tmp_path / "x.csv", "csv").shots == 7
    with (tmp_path / "x-shots.csv").open(encoding="utf-8") as stream:
        assert "5" not in {row["shot"] for row in csv.DictReader(stream)}


def test_a_damaged_page_costs_the_shots_on_it(path: Path) -> None:
    """The pages of the file are overwritten one after another: the rest of the log is always there."""
    content = path.read_bytes()
    with ShotLog.open(path) as log:
        pages = len(content) // log._connection.execute("PRAGMA page_size").fetchone()[0]
    seen, closed = 0, 0
    for page in range(1, pages):
        damaged = bytearray(content)
        damaged[page * 4096 : page * 4096 + 4096] = b"\xa5" * 4096
        path.write_bytes(damaged)
        try:
            with ShotLog.open(path, read_only=True) as log:
                seen += sum(line.state == "fired" for line in log.list_shots(limit=None))
        except LogDamaged:
            closed += 1  # the file's own list of its tables: three pages of any log
    assert closed <= 3 and seen > 0.75 * 8 * (pages - closed)


def test_mend_saves_what_is_whole_and_keeps_the_damaged_file(damaged: Path) -> None:
    before = damaged.read_bytes()
    mended = mend_log(damaged)
    assert mended.lost == ("shot 5",) and mended.shots == 7
    assert mended.kept.read_bytes() == before and mended.kept != damaged
    with ShotLog.open(damaged) as log:
        assert [line.shot for line in log.list_shots()] == [1, 2, 3, 4, 6, 7, 8]
        third = log.read_shot(3).record
        assert (third.note, third.rating, len(third.edges)) == ("umbrella", 4, 14)
        assert log._connection.execute("PRAGMA integrity_check").fetchone()[0] == "ok"
        assert log.begin_series("shoot") == 3
    damaged.write_bytes(before)
    assert mend_log(damaged).kept != mended.kept, "a second time keeps both"


def test_mend_changes_nothing_in_a_log_that_is_whole(path: Path) -> None:
    before = {file: file.read_bytes() for file in path.parent.iterdir() if file.is_file()}
    mended = mend_log(path)
    assert (mended.file, mended.kept, mended.lost) == (path, path, ()) and mended.shots == 8
    assert {file: file.read_bytes() for file in path.parent.iterdir() if file.is_file()} == before


def test_mend_renews_a_log_whose_index_alone_is_damaged(path: Path) -> None:
    with contextlib.closing(sqlite3.connect(path)) as log:
        size = log.execute("PRAGMA page_size").fetchone()[0]
        root = log.execute(
            "SELECT rootpage FROM sqlite_master WHERE type = 'index' AND sql IS NOT NULL"
        ).fetchone()[0]
        log.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    content = bytearray(path.read_bytes())
    content[(root - 1) * size + 8 : root * size] = bytes(size - 8)
    path.write_bytes(content)
    mended = mend_log(path)
    assert mended.kept != path and mended.lost == () and mended.shots == 8


def test_a_lost_rig_or_series_costs_no_shot(path: Path) -> None:
    with ShotLog.open(path) as log:
        log._connection.execute("PRAGMA foreign_keys=OFF")
        log._connection.execute("DELETE FROM series WHERE id = 1")
        log._connection.execute("UPDATE rig SET checksum = 1")
        log._connection.execute("UPDATE sequence SET checksum = 1")
        assert all(line.state == DAMAGED for line in log.list_shots())
    assert mend_log(path).shots == 8
    with ShotLog.open(path) as log:
        third = log.read_shot(3)
        assert third.rig is None and third.table.rows == () and len(third.record.edges) == 14
        assert [line.shots for line in log.list_series()] == [6, 2]


def test_mending_onto_a_full_disk_leaves_everything_as_it_was(damaged: Path) -> None:
    before = {file.name: file.read_bytes() for file in damaged.parent.iterdir() if file.is_file()}
    with full_disk(20_000), pytest.raises((FileWriteError, LogError)):
        mend_log(damaged)
    after = {file.name: file.read_bytes() for file in damaged.parent.iterdir() if file.is_file()}
    assert after[damaged.name] == before[damaged.name]
    assert {name for name in after if not name.endswith(("-wal", "-shm"))} == set(before)


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="needs named pipes, which Windows lacks")
def test_what_is_no_file_is_said_at_once(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    os.mkfifo(tmp_path / "pipe")
    for name in ("pipe", "."):
        for read_only in (True, False):
            with pytest.raises(LogError):
                ShotLog.open(tmp_path / name, read_only=read_only)
    monkeypatch.setenv("BEAMFALL_LOG", str(tmp_path / "pipe"))
    status, words = run(("shots", "list"))
    assert status == 1 and "pipe" in words


def test_a_shot_can_be_fired_though_others_are_damaged(damaged: Path) -> None:
    assert run(("shoot", "--port", "sim", "--no-warm-up"))[0] == 0
    with ShotLog.open(damaged) as log:
        assert log.list_shots()[-1].state == "fired" and log.count_shots() == 9


def test_text_that_is_no_json_is_damage_everywhere(path: Path) -> None:
    import random

    for seed in range(12):
        replace_texts(path, random.Random(seed))
        status, words = run(("shots", "list"))
        assert status in (0, 1) and BUG not in words


@pytest.mark.parametrize(
    ("name", "value"),
    [
        ("begun_us", None), ("anchor_beam", ""), ("truth", {"pictures": True}),
        ("truth", {"pictures": [{"stage_ms": 1.0}]}),
        ("truth", {"pictures": [{"shows": "crown", "stage_ms": "x"}]}), ("swept", {"step": 1}),
        ("swept", {"value_ms": "x"}), ("exposure", {"time_s": 0}), ("exposure", {"mode": 1}),
    ],
)  # fmt: skip
def test_a_value_inside_a_record_that_cannot_be_is_damage(
    path: Path, name: str, value: object
) -> None:
    """Its checksum fits: another program wrote it, or a person."""
    with ShotLog.open(path) as log:
        content = {**log.read_content(5), name: value}
        log._rows.write("shot", 5, {key: one for key, one in content.items() if one is not None})
        with pytest.raises(LogDamaged) as caught:
            log.read_shot(5)
        assert caught.value.what == "shot 5"
        assert [one.record.shot for one in log.read_shots(series=1)] == [1, 2, 3, 4, 6]


@pytest.mark.parametrize("part", ["fitted", "liquid", "aim", "valves"])
def test_a_rig_that_cannot_be_read_costs_no_shot_and_no_report(
    path: Path, part: str, tmp_path: Path
) -> None:
    with ShotLog.open(path) as log:
        content = log._rows.read("rig", 1)
        assert content is not None
        log._rows.write("rig", 1, {**content, part: ["x"]})
    with ShotLog.open(path) as log:
        shot = log.read_shot(3)
        assert shot.known_rig is None and shot.sees_light
    for command in (
        ("shots", "show", "3"),
        ("shots", "catalogue", "--series", "1"),
        ("report", "--series", "2", "--out", str(tmp_path / "report")),
    ):
        assert judge(*run(command)), command


@pytest.mark.parametrize(
    ("key", "value"),
    [
        ("clock_hz", "x"), ("clock_hz", 0), ("tail_ticks", 1.5), ("awaits", [None, 0]),
        ("rows", [["release", 0, "valve1", "x", 1, 0]]), ("rows", [["sunset", 0, "valve1", 1, 1, 0]]),
        ("beam_edges", {}), ("beam_edges", "x"), ("beam_edges", ["dark", "grey"]),
    ],
)  # fmt: skip
def test_a_table_of_wrong_types_is_none(key: str, value: object) -> None:
    plain = Table(125_000_000, (TickRow("release", 0, "valve1", 5, 10),)).to_dict()
    assert Table.from_dict(plain).rows[0].delay_ticks == 5
    with pytest.raises((TypeError, ValueError, LookupError)):
        Table.from_dict({**plain, key: value})
