"""The shot log for other programs: CSV, JSON Lines or Parquet, each with a data dictionary.

CSV and Parquet get two files: FILE with one row an edge, and one beside it, named `...-shots`, with
one row a shot and all its settings; the column `shot` joins them. JSON Lines gets one file with one
object a shot, its edges inside. The dictionary beside them, `...-metadata.json`, names every column
with its meaning, type and unit, in the form of the W3C's CSV on the Web (Metadata Vocabulary for
Tabular Data, 2015).
"""

from __future__ import annotations

import contextlib
import csv
import json
import os
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

from beamfall.errors import BeamfallError, MissingExtra, NoSuchShot, UserError

if TYPE_CHECKING:
    from beamfall.shots.log import ShotLog

FORMATS = ("csv", "jsonl", "parquet")
_BATCH = 20_000


@dataclass(frozen=True, slots=True)
class Column:
    """A column: its type is integer, number, string, datetime or json (a string in CSV)."""

    name: str
    type: str
    meaning: str


_KEYS = (
    Column("shot", "integer", "Number of the shot in the log; joins edges and shots."),
    Column("series", "integer", "Number of the series."),
    Column("number", "integer", "Number of the shot in its series, from 1."),
    Column("begun", "datetime", "When the shot was begun, UTC."),
    Column("state", "string", "How the shot ended; 'outcome unknown': nobody knows."),
)
EDGE_COLUMNS = (
    *_KEYS,
    Column("swept", "json", "What a sweep set for this shot, names with units; empty: nothing."),
    Column("clock_hz", "integer", "Ticks a second of this shot's clock."),
    Column("edge_number", "integer", "Place of the edge in the shot's order of time, from 0."),
    Column(
        "what", "string", "The line: valve1-3, flash1-3, focus, shutter, beam1-2, light1, button1."
    ),
    Column("edge", "string", "on or off of an output or light; dark or clear of a beam."),
    Column("planned_ticks", "integer", "Commanded time from the release; empty: not commanded."),
    Column("measured_ticks", "integer", "Measured time from the release; empty: not seen."),
    Column("planned_ms", "number", "planned_ticks in milliseconds."),
    Column("measured_ms", "number", "measured_ticks in milliseconds."),
    Column("source", "string", "stamped: timed on the line itself; derived: from the command."),
)
SHOT_COLUMNS = (
    *_KEYS,
    Column("completed", "datetime", "When its outcome was written, UTC; empty: never."),
    Column("cause", "string", "Why it did not end as fired; empty: it did."),
    Column("kind", "string", "What the series is: shoot, sweep, seek, repeat, ..."),
    Column("series_name", "string", "Name of the series."),
    Column("series_note", "string", "Note on the series."),
    Column("series_seed", "integer", "Seed of what was drawn for the series."),
    Column("series_settings", "json", "Settings of the series; rests are drawn from rest_seed."),
    Column("rig", "string", "Name of the rig."),
    Column("rig_snapshot", "json", "The whole rig as it was, liquid included; SI units."),
    Column("sequence", "json", "The sequence table as the board had it, times in ticks."),
    Column("board", "string", "Name of the board."),
    Column("unique_id", "string", "The board's unique id, hexadecimal."),
    Column("firmware", "string", "Version of the firmware."),
    Column("protocol", "integer", "Version of the wire protocol."),
    Column("timing", "string", "Class of timing: how the board times edges."),
    Column("clock_hz", "integer", "Ticks a second of this shot's clock."),
    Column("port", "string", "Port the board was on."),
    Column("boot_id", "integer", "Which life of the board: changes with every reset."),
    Column("release_number", "integer", "Number of the release in that life."),
    Column("seed", "integer", "Seed of a simulated rig; empty: a real one."),
    Column("anchor_beam", "string", "Beam that the flash followed; empty: the release."),
    Column("anchor_edge", "string", "Which of that beam's edges counted: dark or clear."),
    Column("anchor_count", "integer", "How manieth counted edge; 0: the release."),
    Column("flash_delay_ticks", "integer", "From the anchor to the flash contact."),
    Column("spacing_ticks", "integer", "From valve opening 1 to valve opening 2."),
    Column("swept", "json", "What a sweep set for this shot, names with units; empty: nothing."),
    Column(
        "counts",
        "json",
        "The board's own figures: edges lost, rows late, edges counted; edges_missing: not read in time.",
    ),
    Column("link", "json", "Link counters of the session so far."),
    Column("truth", "json", "What a simulated rig knows of the shot; empty: a real one."),
    Column("note", "string", "The user's note."),
    Column("rating", "integer", "The user's rating, 1 to 5; empty: none."),
    Column("picture", "string", "The photograph; empty: none known."),
    Column("picture_match", "json", "How the photograph was found; empty: named by hand."),
)
_STATE = "CASE shot.state WHEN 'begun' THEN 'outcome unknown' ELSE shot.state END"
_KEY_SQL = f"shot.id, shot.series_id, shot.number, shot.begun_us, {_STATE}"
_EDGE_SQL = (
    f"SELECT {_KEY_SQL}, shot.swept, sequence.clock_hz, edge.number, edge.what, edge.edge,"
    " edge.planned_ticks, edge.ticks, edge.planned_ticks * 1000.0 / sequence.clock_hz,"
    " edge.ticks * 1000.0 / sequence.clock_hz, edge.source FROM shot"
    " JOIN sequence ON sequence.id = shot.sequence_id JOIN edge ON edge.shot_id = shot.id"
)
_SHOT_SQL = (
    f"SELECT {_KEY_SQL}, shot.completed_us, shot.cause, series.kind, series.name, series.note,"
    " series.seed, series.settings, rig.name, rig.snapshot, sequence.content, board.name,"
    " board.unique_id, board.firmware, board.protocol, board.timing, sequence.clock_hz, shot.port,"
    " shot.boot_id, shot.release_number, shot.seed, shot.anchor_beam, shot.anchor_edge,"
    " shot.anchor_count, shot.flash_delay_ticks, shot.spacing_ticks, shot.swept, shot.counts,"
    " shot.link, shot.truth, shot.note, shot.rating, shot.picture, shot.picture_match FROM shot"
    " JOIN series ON series.id = shot.series_id JOIN sequence ON sequence.id = shot.sequence_id"
    " JOIN board ON board.id = shot.board_id LEFT JOIN rig ON rig.id = shot.rig_id"
)


@dataclass(frozen=True, slots=True)
class Exported:
    """What was written."""

    files: tuple[Path, ...]
    shots: int
    edges: int


def export_log(
    log: ShotLog, file: Path, kind: str, *, series: Sequence[int] = (), shots: Sequence[int] = ()
) -> Exported:
    """Write all edges and settings of the log, or of these series and shots, into `file` and its companions.

    Files appear whole or not at all, and all of them show the log as it was at one moment. Raises
    MissingExtra where Parquet's library is not installed, NoSuchShot where nothing is selected,
    UserError where a file cannot be written.
    """
    if kind not in FORMATS:
        raise UserError(f"format '{kind}': there are {', '.join(FORMATS)}")
    where, values = _select(series, shots)
    tables: list[tuple[Path, Sequence[Column]]]
    counts: list[int]
    with _whole_files() as begin, log.snapshot():
        if not log.query(f"SELECT 1 FROM shot{where} LIMIT 1", values):
            raise NoSuchShot("no shot to export; `beamfall shots list` shows what there is")
        if kind == "jsonl":
            tables = [(file, (*SHOT_COLUMNS, _EDGES_INSIDE))]
            counts = _write_objects(log, begin(file), where, values)
        else:
            beside = file.with_name(f"{file.stem}-shots{file.suffix}")
            tables = [(file, EDGE_COLUMNS), (beside, SHOT_COLUMNS)]
            write = _write_csv if kind == "csv" else _write_parquet
            edges = write(begin(file), EDGE_COLUMNS, _rows(log, _EDGE_SQL, where, values, True))
            count = write(begin(beside), SHOT_COLUMNS, _rows(log, _SHOT_SQL, where, values, False))
            counts = [count, edges]
        dictionary = file.with_name(f"{file.name}-metadata.json")
        text = json.dumps(describe_tables(tables), indent=1, ensure_ascii=False)
        begin(dictionary).write_text(text + "\n", encoding="utf-8")
    return Exported((*(table for table, _ in tables), dictionary), *counts)


def describe_tables(tables: Sequence[tuple[Path, Sequence[Column]]]) -> dict[str, Any]:
    """Return the data dictionary of these files."""

    def describe(column: Column) -> dict[str, Any]:
        entry: dict[str, Any] = {"name": column.name, "datatype": column.type}
        if column.type == "datetime":
            entry["datatype"] = {"base": "datetime", "format": "yyyy-MM-ddTHH:mm:ss.SSSSSSX"}
        return {**entry, "dc:description": column.meaning}

    return {
        "@context": "http://www.w3.org/ns/csvw",
        "dc:title": "Shot log of Beamfall: what was fired and what was measured",
        "tables": [
            {
                "url": file.name,
                "tableSchema": {
                    "columns": [describe(column) for column in columns],
                    "primaryKey": ["shot", "edge_number"] if columns is EDGE_COLUMNS else "shot",
                },
            }
            for file, columns in tables
        ],
    }


_EDGES_INSIDE = Column(
    "edges", "json", "The shot's edges in order of time, with the columns below."
)


def _select(series: Sequence[int], shots: Sequence[int]) -> tuple[str, list[int]]:
    parts, values = [], list[int]()
    for column, chosen in (("series_id", series), ("id", shots)):
        if chosen:
            parts.append(f"shot.{column} IN ({', '.join('?' * len(chosen))})")
            values += chosen
    return (f" WHERE {' OR '.join(parts)}" if parts else ""), values


def _rows(
    log: ShotLog, select: str, where: str, values: Sequence[int], with_edges: bool
) -> Iterator[tuple[Any, ...]]:
    order = " ORDER BY shot.id, edge.number" if with_edges else " ORDER BY shot.id"
    for row in log.iterate(select + where + order, values):
        yield (*row[:3], _say_time(row[3]), row[4], *(() if with_edges else (_say_time(row[5]),)),
               *row[5 if with_edges else 6:])  # fmt: skip


def _say_time(micros: int | None) -> str | None:
    if micros is None:
        return None
    when = datetime.fromtimestamp(micros // 1_000_000, UTC).replace(microsecond=micros % 1_000_000)
    return when.strftime("%Y-%m-%dT%H:%M:%S.%fZ")


def _write_csv(file: Path, columns: Sequence[Column], rows: Iterator[tuple[Any, ...]]) -> int:
    count = 0
    with file.open("w", newline="", encoding="utf-8") as stream:
        writer = csv.writer(stream)
        writer.writerow([column.name for column in columns])
        for row in rows:
            writer.writerow(row)
            count += 1
    return count


def _write_objects(log: ShotLog, file: Path, where: str, values: Sequence[int]) -> list[int]:
    shots, edges = 0, 0
    types = {column.name: column.type for column in SHOT_COLUMNS}
    names = [column.name for column in EDGE_COLUMNS]
    first = names.index("edge_number")
    of_shot = _group(_rows(log, _EDGE_SQL, where, values, True))
    waiting = next(of_shot, None)
    with file.open("w", encoding="utf-8") as stream:
        for row in _rows(log, _SHOT_SQL, where, values, False):
            content = {
                name: json.loads(value) if types[name] == "json" and value else value
                for name, value in zip(types, row, strict=True)
            }
            found: list[tuple[Any, ...]] = []
            if waiting is not None and waiting[0] == row[0]:
                found = waiting[1]
                waiting = next(of_shot, None)
            content["edges"] = [
                dict(zip(names[first:], edge[first:], strict=True)) for edge in found
            ]
            stream.write(json.dumps(content, ensure_ascii=False, separators=(",", ":")) + "\n")
            shots, edges = shots + 1, edges + len(found)
    return [shots, edges]


def _group(rows: Iterator[tuple[Any, ...]]) -> Iterator[tuple[int, list[tuple[Any, ...]]]]:
    """Gather the rows of each shot, which come one after another."""
    shot, found = -1, list[tuple[Any, ...]]()
    for row in rows:
        if row[0] != shot and found:
            yield shot, found
            found = []
        shot = row[0]
        found.append(row)
    if found:
        yield shot, found


def _write_parquet(file: Path, columns: Sequence[Column], rows: Iterator[tuple[Any, ...]]) -> int:
    try:
        import pyarrow as arrow
        from pyarrow import parquet
    except ImportError as error:
        raise MissingExtra(
            "Parquet takes the library pyarrow, which is not installed: "
            "pip install 'beamfall[parquet]', or export csv or jsonl"
        ) from error
    types = {
        "integer": arrow.int64(), "number": arrow.float64(), "string": arrow.string(),
        "json": arrow.string(), "datetime": arrow.timestamp("us", tz="UTC"),
    }  # fmt: skip
    schema = arrow.schema(
        [
            arrow.field(column.name, types[column.type], metadata={"description": column.meaning})
            for column in columns
        ]
    )
    times = [n for n, column in enumerate(columns) if column.type == "datetime"]
    count = 0
    with parquet.ParquetWriter(file, schema, compression="zstd") as writer:
        while batch := _take(rows, _BATCH):
            lists = [list(values) for values in zip(*batch, strict=True)]
            for n in times:
                lists[n] = [
                    None if one is None else datetime.fromisoformat(one) for one in lists[n]
                ]
            writer.write_table(
                arrow.table(
                    [
                        arrow.array(values, field.type)
                        for values, field in zip(lists, schema, strict=True)
                    ],
                    schema=schema,
                )
            )
            count += len(batch)
    return count


def _take(rows: Iterator[tuple[Any, ...]], most: int) -> list[tuple[Any, ...]]:
    from itertools import islice

    return list(islice(rows, most))


@contextlib.contextmanager
def _whole_files() -> Iterator[Callable[[Path], Path]]:
    """Give out a temporary place for each file; all take their names at the end, or none appears."""
    parts: list[tuple[Path, Path]] = []

    def begin(file: Path) -> Path:
        part = file.with_name(f"{file.name}.part")
        parts.append((part, file))
        return part

    try:
        yield begin
        for part, file in parts:
            os.replace(part, file)
    except BeamfallError:
        raise  # some are OSErrors too, and say already what happened
    except OSError as error:
        name = parts[-1][1] if parts else "the file"
        raise UserError(
            f"{name} cannot be written ({error.strerror or error}); make room or choose another "
            "place. The log is untouched"
        ) from error
    finally:
        for part, _ in parts:
            with contextlib.suppress(OSError):
                part.unlink()
