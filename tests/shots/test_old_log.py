"""A log of an older version is converted with every value, or stays as it was."""

from __future__ import annotations

import contextlib
import dataclasses
import gzip
import json
import os
import sqlite3
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from beamfall.errors import LogDamaged
from beamfall.setup.signals import Signal
from beamfall.shots import EdgeRecord, ShotLog, ShotRecord
from beamfall.shots.export import SHOT_COLUMNS
from beamfall.shots.record import BEGUN, UNKNOWN
from beamfall.shots.stored import from_plain, to_plain, to_text

OLD = Path(__file__).with_name("data") / "log_of_82c8bcc.sqlite3.gz"
FORMERLY = {one.name: one.formerly for one in Signal if one.formerly}


@pytest.fixture
def old(tmp_path: Path) -> Path:
    path = tmp_path / "shots.sqlite3"
    path.write_bytes(gzip.decompress(OLD.read_bytes()))
    return path


@pytest.fixture
def rows(old: Path) -> Iterator[sqlite3.Connection]:
    """The file as it was, for plain SQL."""
    beside = old.with_name("as-it-was.sqlite3")
    beside.write_bytes(old.read_bytes())
    with contextlib.closing(sqlite3.connect(beside)) as connection:
        connection.row_factory = sqlite3.Row
        yield connection


def parse(text: str | None) -> Any:
    return None if text is None else json.loads(text)


def test_every_value_of_every_shot_survives(old: Path, rows: sqlite3.Connection) -> None:
    before = rows.execute("SELECT * FROM shot ORDER BY id").fetchall()
    assert len(before) == 15 and {row["state"] for row in before} == {
        "fired",
        "not-released",
        BEGUN,
    }
    with ShotLog.open(old) as log:
        after = {one.record.shot: one for one in log.read_shots()}
    assert list(after) == [row["id"] for row in before]
    for row in before:
        logged = after[row["id"]]
        record = logged.record
        plain = (
            "cause", "number", "begun_us", "completed_us", "port", "boot_id", "seed", "anchor_beam", "anchor_edge",
            "anchor_count", "flash_delay_ticks", "spacing_ticks", "note", "rating", "picture",
        )  # fmt: skip
        for name in plain:
            assert getattr(record, name) == row[name], name
        assert record.state == (UNKNOWN if row["state"] == BEGUN else row["state"])
        assert (record.series, record.release) == (row["series_id"], row["release_number"])
        for name in ("swept", "link", "truth", "picture_match"):
            assert getattr(record, name) == parse(row[name]), name
        assert record.counts == (parse(row["counts"]) or {})
        edges = rows.execute("SELECT * FROM edge WHERE shot_id = ? ORDER BY number", (row["id"],))
        assert [
            (
                FORMERLY.get(edge.what, edge.what),
                edge.edge,
                edge.planned_ticks,
                edge.ticks,
                edge.source,
            )
            for edge in record.edges
        ] == [tuple(edge)[2:] for edge in edges]
        sequence = rows.execute(
            "SELECT * FROM sequence WHERE id = ?", (row["sequence_id"],)
        ).fetchone()
        content = parse(sequence["content"])
        for one in content["rows"]:
            one[2] = Signal.of(one[2]).name
        assert logged.table.to_dict() == content
        assert record.clock_hz == sequence["clock_hz"]
        board = rows.execute("SELECT * FROM board WHERE id = ?", (row["board_id"],)).fetchone()
        assert logged.board == {name: board[name] for name in board.keys() if name != "id"}  # noqa: SIM118
        assert record.timing == board["timing"]
        rig = rows.execute("SELECT * FROM rig WHERE id = ?", (row["rig_id"],)).fetchone()
        assert logged.rig == (None if rig is None else parse(rig["snapshot"]))


def test_series_and_calibrations_survive(old: Path, rows: sqlite3.Connection) -> None:
    before = rows.execute("SELECT * FROM series ORDER BY id").fetchall()
    assert {row["kind"] for row in before} == {"shoot", "sweep", "calibrate", "repeat", "button"}
    with ShotLog.open(old) as log:
        for row, line in zip(before, log.list_series(limit=None), strict=True):
            record = log.read_series(row["id"])
            for name in ("kind", "name", "begun_us", "seed", "note"):
                assert getattr(record, name) == row[name] == getattr(line, name), name
            assert record.settings == parse(row["settings"]) == line.settings
        found = log.query("SELECT id, rig_id, board_id, made_us, shots, content FROM calibration")
    kept = rows.execute("SELECT id, rig_id, board_id, made_us, shots, content FROM calibration")
    assert [(*row[:4], parse(row[4]), parse(row[5])) for row in found] == [
        (*row[:4], parse(row[4]), parse(row[5])) for row in kept
    ]


def test_the_log_goes_on_where_it_was(old: Path) -> None:
    """Numbers of deleted rows are not used again, and shared rows are found."""
    with ShotLog.open(old) as log:
        again = log.begin_series("shoot")
        assert again == 7
        first = log.read_shot(2)
        boards = log.query("SELECT count(*) FROM board")[0][0]
        assert log.find_table(first.table.digest, first.table.clock_hz) == first.table
        assert (
            log._rows.keep_table(first.table)
            == log.query("SELECT sequence_id FROM shot WHERE id = 2")[0][0]
        )
        assert log.query("SELECT count(*) FROM board")[0][0] == boards


def test_reading_alone_brings_it_up_to_date_and_leaves_a_read_only_file_alone(old: Path) -> None:
    before = old.read_bytes()
    old.chmod(0o444)
    if os.access(old, os.W_OK):
        with pytest.MonkeyPatch.context() as patch:  # the superuser may write everywhere
            patch.setattr(os, "access", lambda *_: False)
            with ShotLog.open(old, read_only=True) as log:
                assert log.count_shots() == 15 and log.read_shot(2).record.rating == 4
    else:
        with ShotLog.open(old, read_only=True) as log:
            assert log.count_shots() == 15 and log.read_shot(2).record.rating == 4
    assert old.read_bytes() == before
    old.chmod(0o644)
    with ShotLog.open(old, read_only=True) as log:
        assert log.count_shots() == 15
    assert old.read_bytes() != before


def test_an_old_log_that_is_damaged_stays_as_it_was_and_the_shot_is_named(old: Path) -> None:
    with contextlib.closing(sqlite3.connect(old)) as connection:
        connection.execute("UPDATE shot SET counts = '{bad' WHERE id = 5")
        connection.commit()
    before = old.read_bytes()
    for read_only in (False, True):
        with pytest.raises(LogDamaged) as caught:
            ShotLog.open(old, read_only=read_only)
        assert caught.value.what == "shot 5"
    assert old.read_bytes() == before


def test_an_empty_file_is_an_empty_log(tmp_path: Path) -> None:
    path = tmp_path / "shots.sqlite3"
    path.touch()
    with ShotLog.open(path, read_only=True) as log:
        assert log.count_shots() == 0
    assert path.read_bytes() == b""
    with ShotLog.open(path) as log:
        assert log.begin_series("shoot") == 1


def test_a_value_of_a_shot_is_written_down_in_one_place() -> None:
    """Every field of the record is stored, read back and a column of the export, with a meaning."""
    record = ShotRecord(
        state="fired", clock_hz=1_000_000, timing="hardware", note="x", rating=3, counts={"rows_late": 1},
        swept={"of": "flash"}, edges=(EdgeRecord("beam1", "dark", None, 7, "stamped"),),
    )  # fmt: skip
    stored = json.loads(to_text(to_plain(record)))
    assert from_plain(ShotRecord, stored) == record
    names = {column.name for column in SHOT_COLUMNS}
    for one in dataclasses.fields(ShotRecord):
        assert one.metadata["meaning"]
        assert one.name == "edges" or (one.metadata["name"] or one.name) in names
