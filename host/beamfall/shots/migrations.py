"""The shot log's tables, and the steps from each version of the file to the next.

A file says its version in `PRAGMA user_version`. A step, once released, is never changed: a new version adds a
function at the end. A step works on the tables as they are at that version and uses none of today's classes.

Since version 3 a row is its keys and one JSON text with its checksum. Values that are searched or listed are
generated columns, so that nothing is stored twice.
"""

from __future__ import annotations

import hashlib
import json
import sqlite3
from collections.abc import Callable, Iterable, Iterator, Mapping
from typing import Any

from beamfall.shots.stored import DamagedRow, make_checksum, to_text

APPLICATION_ID = 0x42464C47  # 'BFLG': how `file` and this program know the file for a shot log

_STRICT = " STRICT" if sqlite3.sqlite_version_info >= (3, 37) else ""  # Python 3.11 may be on less
_STRICT_KEYED = " WITHOUT ROWID" + ("," + _STRICT if _STRICT else "")


def create_tables(connection: sqlite3.Connection) -> None:
    """From nothing to version 1: every value has its own column."""
    _run(
        connection,
        f"""
CREATE TABLE rig (id INTEGER PRIMARY KEY, digest BLOB NOT NULL UNIQUE, name TEXT NOT NULL,
  snapshot TEXT NOT NULL){_STRICT};
CREATE TABLE sequence (id INTEGER PRIMARY KEY, digest BLOB NOT NULL UNIQUE, clock_hz INTEGER NOT NULL,
  content TEXT NOT NULL){_STRICT};
CREATE TABLE board (id INTEGER PRIMARY KEY, unique_id TEXT NOT NULL, name TEXT NOT NULL, firmware TEXT NOT NULL,
  protocol INTEGER NOT NULL, timing TEXT NOT NULL, clock_hz INTEGER NOT NULL,
  UNIQUE (unique_id, name, firmware, protocol, timing, clock_hz)){_STRICT};
CREATE TABLE series (id INTEGER PRIMARY KEY AUTOINCREMENT, kind TEXT NOT NULL, name TEXT NOT NULL DEFAULT '',
  begun_us INTEGER NOT NULL, rig_id INTEGER REFERENCES rig(id), seed INTEGER,
  settings TEXT NOT NULL DEFAULT '{{}}', note TEXT NOT NULL DEFAULT ''){_STRICT};
CREATE TABLE shot (id INTEGER PRIMARY KEY AUTOINCREMENT, series_id INTEGER NOT NULL REFERENCES series(id),
  number INTEGER NOT NULL, begun_us INTEGER NOT NULL, completed_us INTEGER, state TEXT NOT NULL, cause TEXT,
  rig_id INTEGER REFERENCES rig(id), sequence_id INTEGER NOT NULL REFERENCES sequence(id),
  board_id INTEGER NOT NULL REFERENCES board(id), port TEXT NOT NULL, boot_id INTEGER NOT NULL,
  release_number INTEGER NOT NULL, seed INTEGER, anchor_beam TEXT, anchor_edge TEXT, anchor_count INTEGER NOT NULL,
  flash_delay_ticks INTEGER, spacing_ticks INTEGER, swept TEXT, counts TEXT, link TEXT, truth TEXT,
  note TEXT NOT NULL DEFAULT '', rating INTEGER CHECK (rating BETWEEN 1 AND 5), picture TEXT,
  UNIQUE (series_id, number)){_STRICT};
CREATE INDEX shot_release ON shot (release_number, boot_id);
CREATE TABLE edge (shot_id INTEGER NOT NULL REFERENCES shot(id), number INTEGER NOT NULL, what TEXT NOT NULL,
  edge TEXT NOT NULL, planned_ticks INTEGER, ticks INTEGER, source TEXT NOT NULL,
  PRIMARY KEY (shot_id, number)){_STRICT_KEYED};
CREATE VIEW edge_ms AS SELECT edge.shot_id FROM edge;
""",
    )


def add_calibrations(connection: sqlite3.Connection) -> None:
    """From version 1 to 2: what calibrations found, and how a picture was found."""
    _run(
        connection,
        f"""
ALTER TABLE shot ADD COLUMN picture_match TEXT;
CREATE INDEX shot_begun ON shot (id) WHERE state = 'begun';
CREATE TABLE calibration (id INTEGER PRIMARY KEY AUTOINCREMENT, made_us INTEGER NOT NULL,
  rig_id INTEGER REFERENCES rig(id), board_id INTEGER NOT NULL REFERENCES board(id), shots TEXT NOT NULL,
  content TEXT NOT NULL){_STRICT};
""",
    )


def keep_records_as_json(connection: sqlite3.Connection) -> None:
    """From version 2 to 3: a shot and a series are one JSON text each, edges inside; texts have checksums."""
    _run(connection, "DROP VIEW edge_ms; DROP INDEX shot_release; DROP INDEX shot_begun;")
    for table in _OLD:
        connection.execute(f"ALTER TABLE {table} RENAME TO old_{table}")
    _run(connection, _VERSION_3)
    for row in _read(connection, "SELECT id, digest, snapshot FROM old_rig"):
        text = row.pop("snapshot")
        _parse(("rig", row["id"]), text)
        _insert(connection, "rig", row, text, column="snapshot")
    for row in _read(connection, "SELECT id, content FROM old_sequence"):
        text = _rename_signals(("sequence", row["id"]), row.pop("content"))
        _insert(connection, "sequence", {**row, "digest": _digest(text)}, text, column="content")
    for row in _read(connection, "SELECT * FROM old_board"):
        number, text = row.pop("id"), to_text(row)
        _insert(connection, "board", {"id": number, "digest": _digest(text)}, text)
    for row in _read(connection, "SELECT * FROM old_series"):
        keys = {name: row.pop(name) for name in ("id", "rig_id")}
        row["settings"] = _parse(("series", keys["id"]), row["settings"])
        _insert(connection, "series", keys, to_text(row))
    _move_shots(connection)
    for row in _read(connection, "SELECT * FROM old_calibration"):
        keys = {name: row.pop(name) for name in ("id", "rig_id", "board_id")}
        for name in ("shots", "content"):
            row[name] = _parse(("calibration", keys["id"]), row[name])
        _insert(connection, "calibration", keys, to_text(row))
    for table in ("edge", "calibration", "shot", "series", "board", "sequence", "rig"):
        connection.execute(f"DROP TABLE old_{table}")


def _move_shots(connection: sqlite3.Connection) -> None:
    select = (
        "SELECT old_shot.*, (SELECT clock_hz FROM old_sequence WHERE id = sequence_id) AS clock_hz,"
        " (SELECT timing FROM old_board WHERE id = board_id) AS timing FROM old_shot ORDER BY id"
    )
    edges = _group_edges(connection)
    waiting = next(edges, None)
    for row in _read(connection, select):
        names = ("id", "series_id", "number", "rig_id", "sequence_id", "board_id")
        keys = {name: row.pop(name) for name in names}
        row["release"] = row.pop("release_number")
        for name in ("swept", "counts", "link", "truth", "picture_match"):
            row[name] = _parse(("shot", keys["id"]), row[name])
        while waiting is not None and waiting[0] < keys["id"]:
            waiting = next(edges, None)
        if waiting is not None and waiting[0] == keys["id"]:
            row["edges"] = waiting[1]
        text = to_text({name: value for name, value in row.items() if value not in (None, "")})
        _insert(connection, "shot", keys, text)


def _insert(
    connection: sqlite3.Connection,
    table: str,
    keys: Mapping[str, Any],
    text: str,
    *,
    column: str = "record",
) -> None:
    try:
        text.encode()
    except UnicodeEncodeError as error:
        raise DamagedRow(table, keys["id"], "its text is damaged") from error
    values = {**keys, column: text, "checksum": make_checksum(text)}
    connection.execute(
        f"INSERT INTO {table} ({', '.join(values)}) VALUES ({', '.join('?' * len(values))})",
        tuple(values.values()),
    )


_RENAMED = {"camera1": "focus", "camera2": "shutter"}  # signals whose names have changed
_OLD = ("rig", "sequence", "board", "series", "shot", "edge", "calibration")


def _generate(name: str, path: str = "", of: str = "record") -> str:
    """A generated column of a value in the JSON; NULL where the JSON cannot be read."""
    return f"  {name} AS (CASE WHEN json_valid({of}) THEN json_extract({of}, '$.{path or name}') END) VIRTUAL"


_SEARCHED = (
    "state", "cause", "begun_us", "completed_us", "port", "boot_id", "seed", "anchor_beam", "anchor_count",
    "flash_delay_ticks", "spacing_ticks", "swept", "counts", "note", "rating", "picture",
)  # fmt: skip
_COMMA = ",\n"
_VERSION_3 = f"""
CREATE TABLE rig (          -- rigs as they were, one row for each different one; JSON, SI units
  id INTEGER PRIMARY KEY, digest BLOB NOT NULL UNIQUE, snapshot TEXT NOT NULL, checksum INTEGER NOT NULL,
{_generate("name", of="snapshot")}
);
CREATE TABLE sequence (     -- sequence tables, one row for each different one; JSON of Table
  id INTEGER PRIMARY KEY, digest BLOB NOT NULL UNIQUE, content TEXT NOT NULL, checksum INTEGER NOT NULL,
{_generate("clock_hz", of="content")}
);
CREATE TABLE board (        -- boards with their firmware, one row for each different state; JSON of BoardRecord
  id INTEGER PRIMARY KEY, digest BLOB NOT NULL UNIQUE, record TEXT NOT NULL, checksum INTEGER NOT NULL,
{_COMMA.join(_generate(name) for name in ("unique_id", "name", "firmware", "timing"))}
);
CREATE TABLE series (       -- shots that belong together; JSON of SeriesRecord
  id INTEGER PRIMARY KEY AUTOINCREMENT, rig_id INTEGER REFERENCES rig(id),
  record TEXT NOT NULL, checksum INTEGER NOT NULL,
{_COMMA.join(_generate(name) for name in ("kind", "name", "begun_us", "seed", "settings", "note"))}
);
CREATE TABLE shot (         -- JSON of ShotRecord, edges inside
  id INTEGER PRIMARY KEY AUTOINCREMENT, series_id INTEGER NOT NULL REFERENCES series(id),
  number INTEGER NOT NULL,  -- in the series, from 1
  rig_id INTEGER REFERENCES rig(id), sequence_id INTEGER NOT NULL REFERENCES sequence(id),
  board_id INTEGER NOT NULL REFERENCES board(id), record TEXT NOT NULL, checksum INTEGER NOT NULL,
{_COMMA.join(_generate(name) for name in _SEARCHED)},
{_generate("release_number", "release")},
  UNIQUE (series_id, number)
);
CREATE INDEX shot_release ON shot (release_number, boot_id);
CREATE INDEX shot_state ON shot (state);
CREATE TABLE calibration (  -- what beam edges have said of a rig; JSON
  id INTEGER PRIMARY KEY AUTOINCREMENT, rig_id INTEGER REFERENCES rig(id),
  board_id INTEGER NOT NULL REFERENCES board(id), record TEXT NOT NULL, checksum INTEGER NOT NULL,
{_COMMA.join(_generate(name) for name in ("made_us", "shots", "content"))}
);
CREATE VIEW edge AS         -- the edges of shots as rows
  SELECT shot.id AS shot_id, one.key AS number, json_extract(one.value, '$[0]') AS what,
         json_extract(one.value, '$[1]') AS edge, json_extract(one.value, '$[2]') AS planned_ticks,
         json_extract(one.value, '$[3]') AS ticks, json_extract(one.value, '$[4]') AS source
  FROM shot, json_each(CASE WHEN json_valid(shot.record) THEN shot.record ELSE '{{}}' END, '$.edges') AS one;
CREATE VIEW edge_ms AS      -- the edges for people with an SQL program
  SELECT edge.shot_id, shot.series_id, edge.number, edge.what, edge.edge,
         edge.planned_ticks * 1000.0 / sequence.clock_hz AS planned_ms,
         edge.ticks * 1000.0 / sequence.clock_hz AS measured_ms, edge.source
  FROM edge JOIN shot ON shot.id = edge.shot_id JOIN sequence ON sequence.id = shot.sequence_id;
"""

#: Step n brings a file of version n to version n + 1.
MIGRATIONS: tuple[Callable[[sqlite3.Connection], None], ...] = (
    create_tables,
    add_calibrations,
    keep_records_as_json,
)


def _run(connection: sqlite3.Connection, script: str) -> None:
    """Run statements one by one: executescript would commit before it starts."""
    statement = ""
    for piece in script.split(";")[:-1]:
        statement += piece + ";"
        if sqlite3.complete_statement(statement):  # and not within a comment or a text
            connection.execute(statement)
            statement = ""


def _read(connection: sqlite3.Connection, select: str) -> Iterator[dict[str, Any]]:
    cursor = connection.execute(select)
    names = [item[0] for item in cursor.description]
    for row in cursor:
        yield dict(zip(names, row, strict=True))


def _group_edges(connection: sqlite3.Connection) -> Iterator[tuple[int, list[list[Any]]]]:
    """The edges of each shot, in the order of shots."""
    shot, found = -1, list[list[Any]]()
    rows: Iterable[Any] = connection.execute(
        "SELECT shot_id, what, edge, planned_ticks, ticks, source FROM old_edge ORDER BY shot_id, number"
    )
    for own, what, *edge in rows:
        if own != shot and found:
            yield shot, found
            found = []
        shot = own
        found.append([_RENAMED.get(what, what), *edge])
    if found:
        yield shot, found


def _parse(of: tuple[str, int], text: str | None) -> Any:
    if text is None:
        return None
    try:
        return json.loads(text)
    except (ValueError, RecursionError) as error:
        raise DamagedRow(*of, "no JSON") from error


def _rename_signals(of: tuple[str, int], text: str) -> str:
    """A sequence table with the present names of its outputs."""
    content = _parse(of, text)
    try:
        for row in content["rows"]:
            row[2] = _RENAMED.get(row[2], row[2])
    except (TypeError, LookupError) as error:
        raise DamagedRow(*of, "no sequence table") from error
    return to_text(content)


def _digest(text: str) -> bytes:
    return hashlib.sha256(text.encode()).digest()[:16]
