"""Saves the intact parts of a damaged log. The damaged file is kept beside the new one, byte for byte."""

from __future__ import annotations

import contextlib
import os
import sqlite3
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from beamfall.errors import LogError
from beamfall.files import explain_write, write_whole
from beamfall.setup.table import Table
from beamfall.shots.database import check_kind, connect, explain_errors
from beamfall.shots.migrations import APPLICATION_ID, MIGRATIONS
from beamfall.shots.read import LogReader
from beamfall.shots.record import BoardRecord, SeriesRecord, ShotRecord
from beamfall.shots.rows import Rows
from beamfall.shots.stored import DamagedRow, DamagedValue, from_plain, from_text, to_plain

_NOTE = "its record was damaged; the log was mended"
_COMPANIONS = ("", "-wal", "-shm")


@dataclass(frozen=True, slots=True)
class Mended:
    """What was saved: `file` is the new log, `kept` the old one; `lost` says what is not in the new one.

    Where both are the same file, nothing was wrong with it and nothing was changed.
    """

    file: Path
    kept: Path
    shots: int
    lost: tuple[str, ...]


def mend_log(path: Path, out: Path | None = None) -> Mended:
    """Write what can be read of the log at `path` into a new log at `out`.

    Without `out` the new log replaces a damaged one, which is kept beside it as `...-damaged`; nothing is done to a log
    that is whole. If a rig, a sequence or a series is lost, only its own values are lost: its shots are kept without
    it. Raises LogError if the file cannot be read at all, FileWriteError; the old log is then unchanged.
    """
    check_kind(path)
    if not path.exists():
        raise LogError(f"there is no shot log {path}; set BEAMFALL_LOG to the one to mend")
    lost: list[str] = []
    target = path.with_name(f"{path.stem}-mended{path.suffix}") if out is None else out
    with (
        write_whole(target) as part,
        explain_errors(path),
        contextlib.closing(_open_damaged(path)) as old,
        contextlib.closing(connect(str(part))) as new,
    ):
        new.execute("PRAGMA journal_mode=DELETE")
        version = _copy_rows(old, new, path, lost)
        _migrate(new, version, lost)
        shots = _keep_whole(path, new, lost)
        new.execute(f"PRAGMA application_id={APPLICATION_ID}")
        new.execute(f"PRAGMA user_version={len(MIGRATIONS)}")
        is_whole = not lost and _is_intact(old)
    if out is None and is_whole:
        target.unlink()
        return Mended(path, path, shots, ())
    if out is not None:
        return Mended(out, path, shots, tuple(dict.fromkeys(lost)))
    return Mended(path, _swap(path, target), shots, tuple(dict.fromkeys(lost)))


def _open_damaged(path: Path) -> sqlite3.Connection:
    """Open for reading only; ignore the files beside it if those are damaged too."""
    address = path.resolve().as_uri()
    for mode in ("mode=ro", "immutable=1"):
        connection = connect(f"{address}?{mode}", uri=True)
        try:
            connection.execute("SELECT count(*) FROM sqlite_master").fetchone()
            return connection
        except sqlite3.DatabaseError as error:
            connection.close()
            failure = error
    raise failure


def _is_intact(log: sqlite3.Connection) -> bool:
    with contextlib.suppress(sqlite3.DatabaseError):
        return bool(log.execute("PRAGMA integrity_check").fetchone() == ("ok",))
    return False


def _copy_rows(
    old: sqlite3.Connection, new: sqlite3.Connection, path: Path, lost: list[str]
) -> int:
    """Copy every row that can be read, table by table; return the version of the file."""
    version = int(old.execute("PRAGMA user_version").fetchone()[0])
    schema = old.execute(
        "SELECT type, name, sql FROM sqlite_master WHERE sql IS NOT NULL AND name NOT LIKE 'sqlite_%'"
    ).fetchall()
    names = [name for kind, name, _ in schema if kind == "table"]
    if "shot" not in names or not 0 < version <= len(MIGRATIONS):
        raise LogError(f"{path} is not a shot log that this program can mend; keep the file")
    new.execute("BEGIN")
    for kind, _, sql in sorted(schema, key=lambda row: ("table", "index", "view").index(row[0])):
        if kind != "table":
            continue
        new.execute(sql)
    for name in names:
        _copy_table(old, new, name, lost)
    with contextlib.suppress(sqlite3.DatabaseError):
        for name, number in old.execute("SELECT name, seq FROM sqlite_sequence").fetchall():
            new.execute(
                "UPDATE sqlite_sequence SET seq = max(seq, ?) WHERE name = ? AND typeof(?) = 'integer'",
                (number, name, number),
            )
    for kind, _, sql in schema:
        if kind != "table":
            new.execute(sql)
    new.execute("COMMIT")
    return version


def _copy_table(
    old: sqlite3.Connection, new: sqlite3.Connection, table: str, lost: list[str]
) -> None:
    columns = [row[1] for row in old.execute(f"PRAGMA table_xinfo({table})") if row[6] == 0]
    places = ", ".join("?" * len(columns))
    insert = f"INSERT INTO {table} ({', '.join(columns)}) VALUES ({places})"
    key = "shot_id" if table == "edge" else "id"
    for number in _list_ids(old, "shot" if table == "edge" else table):
        try:
            rows = old.execute(
                f"SELECT {', '.join(columns)} FROM {table} WHERE {key} = ?", (number,)
            ).fetchall()
            new.executemany(insert, rows)
        except (sqlite3.Error, UnicodeEncodeError):
            lost.append(f"{'shot' if table == 'edge' else table} {number}")
            if table == "edge":
                with contextlib.suppress(sqlite3.Error):
                    new.execute("DELETE FROM shot WHERE id = ?", (number,))
                new.execute("DELETE FROM edge WHERE shot_id = ?", (number,))


def _list_ids(old: sqlite3.Connection, table: str) -> Iterator[int]:
    """Every possible id."""
    reader = LogReader(Path(old.execute("PRAGMA database_list").fetchone()[2]), old)
    return iter(reader.find_ids(table))


def _migrate(new: sqlite3.Connection, version: int, lost: list[str]) -> None:
    """Upgrade the copy to this version; a row that a step cannot read is left out."""
    while True:
        new.execute("BEGIN")
        try:
            for step in MIGRATIONS[version:]:
                step(new)
        except DamagedRow as error:
            new.execute("ROLLBACK")
            lost.append(f"{error.table} {error.number}")
            new.execute(f"DELETE FROM {error.table} WHERE id = ?", (error.number,))
            if error.table == "shot":
                new.execute("DELETE FROM edge WHERE shot_id = ?", (error.number,))
        else:
            new.execute("COMMIT")
            return


def _keep_whole(path: Path, new: sqlite3.Connection, lost: list[str]) -> int:
    """Remove shots that cannot be read, and complete the intact ones; return how many there are."""
    rows, reader = Rows(new), LogReader(path, new)
    new.execute("BEGIN")
    for (number,) in new.execute("SELECT id FROM series").fetchall():
        try:
            reader.read_series(number)
        except LogError:
            lost.append(f"series {number}")
            new.execute("DELETE FROM series WHERE id = ?", (number,))
    whole = 0
    for shot, *keys in new.execute(
        "SELECT id, series_id, rig_id, sequence_id, board_id, record, checksum FROM shot ORDER BY id"
    ).fetchall():
        try:
            record = from_plain(ShotRecord, from_text(*keys[4:]))
            series, rig, sequence, board = keys[:4]
            if type(series) is not int:
                raise DamagedValue("its series is not a number")
        except DamagedValue:
            lost.append(f"shot {shot}")
            new.execute("DELETE FROM shot WHERE id = ?", (shot,))
            continue
        whole += 1
        _mend_keys(rows, new, shot, record, (series, rig, sequence, board), lost)
    new.execute("COMMIT")
    return whole


def _mend_keys(
    rows: Rows,
    new: sqlite3.Connection,
    shot: int,
    record: ShotRecord,
    keys: tuple[Any, ...],
    lost: list[str],
) -> None:
    """Give a shot an empty series, sequence or board instead of a lost one, and no rig."""
    series, rig, sequence, board = keys
    if new.execute("SELECT 1 FROM series WHERE id = ?", (series,)).fetchone() is None:
        lost.append(f"series {series}")
        empty = SeriesRecord(kind="mended", settings={}, begun_us=record.begun_us or 0, note=_NOTE)
        rows.add("series", to_plain(empty), id=series)
    if rig is not None:
        try:
            rows.read_shared("rig", rig)
        except DamagedValue:
            lost.append(f"rig {rig}")
            new.execute("UPDATE shot SET rig_id = NULL WHERE id = ?", (shot,))
    try:
        rows.read_table(sequence)
    except DamagedValue:
        lost.append(f"sequence {sequence}")
        found = rows.keep_table(Table(record.clock_hz, ()))
        new.execute("UPDATE shot SET sequence_id = ? WHERE id = ?", (found, shot))
    try:
        rows.read_board(board)
    except DamagedValue:
        lost.append(f"board {board}")
        unknown = BoardRecord(
            name="",
            unique_id="",
            firmware="",
            protocol=0,
            timing=record.timing,
            clock_hz=record.clock_hz,
        )
        new.execute("UPDATE shot SET board_id = ? WHERE id = ?", (rows.keep_board(unknown), shot))


def _swap(path: Path, mended: Path) -> Path:
    """Replace the damaged log with the mended one; return the new name of the damaged one."""
    number = 0
    while True:
        ending = f"-damaged{number or ''}"
        kept = path.with_name(f"{path.stem}{ending}{path.suffix}")
        if not kept.exists():
            break
        number += 1
    moved = []
    with explain_write(path):
        try:
            for companion in _COMPANIONS:
                one = path.with_name(path.name + companion)
                if one.exists():
                    os.rename(one, kept.with_name(kept.name + companion))
                    moved.append(companion)
            os.rename(mended, path)
        except OSError:
            for companion in moved:
                os.rename(
                    kept.with_name(kept.name + companion), path.with_name(path.name + companion)
                )
            raise
    return kept
