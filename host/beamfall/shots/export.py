"""The shot log for other programs: CSV, JSON Lines or Parquet, each with a data dictionary.

CSV and Parquet get two files: FILE with one row per edge, and one beside it, named `...-shots`, with
one row per shot and all its settings; the column `shot` joins them. JSON Lines gets one file with one
object per shot, its edges inside. The dictionary beside them, `...-metadata.json`, names every column
with its meaning, type and unit, in the form of the W3C's CSV on the Web (Metadata Vocabulary for
Tabular Data, 2015). Columns and their meanings are the fields of `beamfall.shots.record`.
"""

from __future__ import annotations

import contextlib
import csv
import dataclasses
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, NamedTuple, Self

from beamfall.errors import LogError, MissingExtra, NoSuchShot, UserError, WrongValue
from beamfall.files import write_together
from beamfall.shots.log import ShotLog
from beamfall.shots.record import (
    BoardRecord,
    EdgeRecord,
    LoggedShot,
    SeriesRecord,
    ShotRecord,
    as_plain,
)
from beamfall.text import show_cell, show_json

FORMATS = ("csv", "jsonl", "parquet")
_BATCH = 20_000


class Column(NamedTuple):
    """A column: its type is integer, number, string, datetime or json (a string in CSV)."""

    name: str
    type: str
    meaning: str


def describe_fields(kind: type, *, but: Sequence[str] = ()) -> dict[str, Column]:
    """Return the column of each field of a record, by the field's name."""
    return {
        one.name: Column(one.metadata["name"] or one.name, _find_type(one), one.metadata["meaning"])
        for one in dataclasses.fields(kind)
        if one.name not in but
    }


def _find_type(one: dataclasses.Field[Any]) -> str:
    plain = {"int": "integer", "float": "number", "str": "string"}
    found = plain.get(str(one.type).removesuffix(" | None"), "json")
    return "datetime" if one.name.endswith("_us") else found


_SHOT = describe_fields(ShotRecord, but=("edges",))
_SERIES = describe_fields(SeriesRecord, but=("series",))
_BOARD = describe_fields(BoardRecord, but=("timing", "clock_hz"))  # of the shot itself
_EDGE = describe_fields(EdgeRecord)
_KEYS = ("shot", "series", "number", "begun_us", "state")
_OF_EDGE = (*_KEYS, "swept", "clock_hz")
EDGE_COLUMNS = (
    *(_SHOT[name] for name in _OF_EDGE),
    Column("edge_number", "integer", "Position of the edge in the shot, in order of time, from 0."),
    *(_EDGE[name] for name in ("what", "edge", "planned_ticks", "ticks")),
    Column("planned_ms", "number", "planned_ticks in milliseconds."),
    Column("measured_ms", "number", "measured_ticks in milliseconds."),
    _EDGE["source"],
)
_FIRST = EDGE_COLUMNS.index(_EDGE["what"]) - 1  # of the columns that are of the edge
_FRONT = (*_KEYS, "completed_us", "cause")  # where the columns of series, rig and board follow
SHOT_COLUMNS = (
    *(_SHOT[name] for name in _FRONT),
    *_SERIES.values(),
    Column("rig", "string", "Name of the rig."),
    Column("rig_snapshot", "json", "The whole rig as it was, liquid included; SI units."),
    Column("sequence", "json", "The sequence table as the board had it, times in ticks."),
    *_BOARD.values(),
    *(column for name, column in _SHOT.items() if name not in _FRONT),
)
_EDGES_INSIDE = Column(
    "edges", "json", "The shot's edges in order of time, with the columns below."
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

    Files appear complete or not at all, and all of them show the log as it was at one moment. Damaged shots are left
    out and reported to `log.on_damage`. Raises WrongValue for an unknown `kind`, MissingExtra if Parquet's library is
    not installed, NoSuchShot if nothing is selected, FileWriteError if a file cannot be written.
    """
    if kind not in FORMATS:
        raise WrongValue(
            f"no such format: '{kind}'; choose one of {', '.join(FORMATS)}",
            of="format", found=kind, choices=FORMATS,
        )  # fmt: skip
    beside = file.with_name(f"{file.stem}-shots{file.suffix}")
    dictionary = file.with_name(f"{file.name}-metadata.json")
    _refuse_others_files(file, kind, (dictionary,) if kind == "jsonl" else (beside, dictionary))
    count, edges = 0, 0
    with write_together() as begin, log.snapshot(), contextlib.ExitStack() as stack:
        chosen = log.find_shots(series=series, shots=shots)
        if not chosen:
            raise NoSuchShot("no shot to export; `beamfall shots list` shows what there is")
        if kind == "jsonl":
            tables = [(file, (*SHOT_COLUMNS, _EDGES_INSIDE))]
        else:
            tables = [(file, EDGE_COLUMNS), (beside, SHOT_COLUMNS)]
        opened = [
            stack.enter_context(_WRITERS[kind](begin(place), columns)) for place, columns in tables
        ]
        for logged, of_series in _read(log, chosen):
            shot_row, edge_rows = _list_shot(logged, of_series), _list_edges(logged)
            if kind == "jsonl":
                own = [name for name, *_ in EDGE_COLUMNS[_FIRST:]]
                inside = [dict(zip(own, row[_FIRST:], strict=True)) for row in edge_rows]
                opened[0].write([[*shot_row, inside]])
            else:
                opened[0].write(edge_rows)
                opened[1].write([shot_row])
            count, edges = count + 1, edges + len(edge_rows)
        text = show_json(describe_tables(tables), indent=1)
        begin(dictionary).write_text(text + "\n", encoding="utf-8")
    return Exported((*(place for place, _ in tables), dictionary), count, edges)


def _refuse_others_files(file: Path, kind: str, companions: Sequence[Path]) -> None:
    """Only an earlier export may be replaced. Raises UserError."""
    if file.is_file() and file.suffix.lower() != f".{kind}":
        raise UserError(
            f"{file} exists and may be something else: give a new name, or one that ends in .{kind}"
        )
    for one in companions:
        if one.is_file() and not file.exists():
            raise UserError(
                f"{one} exists and would be replaced: give --out another name, or move that file away"
            )


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


def _read(log: ShotLog, chosen: Sequence[int]) -> Iterator[tuple[LoggedShot, SeriesRecord | None]]:
    known: dict[int, SeriesRecord | None] = {}
    for logged in log.read_these(chosen):
        number = logged.record.series or 0
        if number not in known:
            known[number] = None  # a damaged series costs its own values only
            with contextlib.suppress(LogError):
                known[number] = log.read_series(number)
        yield logged, known[number]


def _list_shot(logged: LoggedShot, series: SeriesRecord | None) -> list[Any]:
    """The values of SHOT_COLUMNS."""
    record = logged.record
    return [
        *(getattr(record, name) for name in _FRONT),
        *(getattr(series, name, None) for name in _SERIES),
        logged.line.rig_name,
        logged.rig,
        logged.table.to_dict(),
        *(logged.board[name] for name in _BOARD),
        *(as_plain(name, getattr(record, name)) for name in _SHOT if name not in _FRONT),
    ]


def _list_edges(logged: LoggedShot) -> list[list[Any]]:
    """The values of EDGE_COLUMNS, one row per edge."""
    record = logged.record
    shared = [getattr(record, name) for name in _OF_EDGE]
    return [
        [*shared, number, edge.what, edge.edge, edge.planned_ticks, edge.ticks,
         _to_ms(edge.planned_ticks, record.clock_hz), _to_ms(edge.ticks, record.clock_hz), edge.source]
        for number, edge in enumerate(record.edges)
    ]  # fmt: skip


def _to_ms(ticks: int | None, clock_hz: int) -> float | None:
    return None if ticks is None else ticks * 1000.0 / clock_hz


def _say_time(micros: int) -> str:
    when = datetime.fromtimestamp(micros // 1_000_000, UTC).replace(microsecond=micros % 1_000_000)
    return when.strftime("%Y-%m-%dT%H:%M:%S.%fZ")


class _CsvFile:
    """A table in CSV: JSON values as text, times of day as in ISO 8601, nothing that a spreadsheet would run."""

    def __init__(self, file: Path, columns: Sequence[Column]) -> None:
        self._types = [column.type for column in columns]
        self._stream = file.open("w", newline="", encoding="utf-8")
        self._writer = csv.writer(self._stream)
        self._writer.writerow([column.name for column in columns])

    def write(self, rows: Iterable[Sequence[Any]]) -> None:
        for row in rows:
            self._writer.writerow(map(self._fill, self._types, row))

    @staticmethod
    def _fill(kind: str, value: Any) -> Any:
        if value is None:
            return None
        if kind == "datetime":
            return _say_time(value)
        if kind == "json":
            return show_json(value, spaced=False)
        return show_cell(value) if kind == "string" else value

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self._stream.close()


class _JsonLines(_CsvFile):
    """One object per line, with JSON values as they are."""

    def __init__(self, file: Path, columns: Sequence[Column]) -> None:
        self._columns = columns
        self._stream = file.open("w", encoding="utf-8")

    def write(self, rows: Iterable[Sequence[Any]]) -> None:
        for row in rows:
            content = {
                column.name: _say_time(value)
                if column.type == "datetime" and value is not None
                else value
                for column, value in zip(self._columns, row, strict=True)
            }
            self._stream.write(show_json(content, spaced=False) + "\n")


class _ParquetFile:
    """A table in Parquet, written in batches; raises MissingExtra."""

    def __init__(self, file: Path, columns: Sequence[Column]) -> None:
        try:
            import pyarrow as arrow
            from pyarrow import parquet
        except ImportError as error:
            raise MissingExtra(
                "Parquet needs the library pyarrow, which is not installed: "
                "pip install 'beamfall[parquet]', or export csv or jsonl"
            ) from error
        types = {
            "integer": arrow.int64(), "number": arrow.float64(), "string": arrow.string(),
            "json": arrow.string(), "datetime": arrow.timestamp("us", tz="UTC"),
        }  # fmt: skip
        self._arrow, self._columns = arrow, columns
        self._rows: list[Sequence[Any]] = []
        self._schema = arrow.schema(
            [
                arrow.field(
                    column.name, types[column.type], metadata={"description": column.meaning}
                )
                for column in columns
            ]
        )
        self._writer = parquet.ParquetWriter(file, self._schema, compression="zstd")

    def write(self, rows: Iterable[Sequence[Any]]) -> None:
        self._rows += rows
        if len(self._rows) >= _BATCH:
            self._flush()

    def _flush(self) -> None:
        if not self._rows:
            return
        arrays = [
            self._arrow.array(
                [
                    show_json(one, spaced=False)
                    if column.type == "json" and one is not None
                    else one
                    for one in values
                ],
                field.type,
            )
            for column, field, values in zip(
                self._columns, self._schema, zip(*self._rows, strict=True), strict=True
            )
        ]
        self._writer.write_table(self._arrow.table(arrays, schema=self._schema))
        self._rows = []

    def __enter__(self) -> Self:
        return self

    def __exit__(self, kind: object, *_: object) -> None:
        if kind is None:
            self._flush()
        self._writer.close()


_WRITERS: Mapping[str, Callable[[Path, Sequence[Column]], Any]] = {
    "csv": _CsvFile,
    "jsonl": _JsonLines,
    "parquet": _ParquetFile,
}
