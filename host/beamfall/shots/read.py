"""Reads the log. If part of the file is damaged, only the shots in that part are lost.

Lists and series are read shot by shot: a damaged shot is left out of series, shown as 'damaged' in lists, and
reported to a callback. Reading one damaged shot raises `LogDamaged`.
"""

from __future__ import annotations

import contextlib
import dataclasses
import sqlite3
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from pathlib import Path
from typing import Any

from beamfall.errors import LogDamaged, NoSuchShot
from beamfall.shots.database import explain_errors
from beamfall.shots.record import (
    BEGUN,
    DAMAGED,
    UNKNOWN,
    LoggedShot,
    SeriesLine,
    SeriesRecord,
    ShotLine,
    ShotRecord,
)
from beamfall.shots.rows import Rows
from beamfall.shots.stored import DamagedValue, from_plain, from_text

_SHOT = "SELECT series_id, number, rig_id, sequence_id, board_id, record, checksum FROM shot WHERE id = ?"


class LogReader:
    """The questions that the log answers. `on_damage` is called once for each damaged shot or series left out."""

    def __init__(self, path: Path, connection: sqlite3.Connection) -> None:
        self.path = path
        self.on_damage: Callable[[str], None] = lambda text: None
        self._connection = connection
        self._rows = Rows(connection)
        self._told: set[str] = set()

    # -- lists -------------------------------------------------------------------------------------
    def list_shots(
        self, *, limit: int | None = 20, series: int | None = None, state: str | None = None
    ) -> list[ShotLine]:
        """Return the newest shots, newest last; of one series or in one state where given.

        A shot that cannot be read is a line whose state is 'damaged'.
        """
        stored = BEGUN if state == UNKNOWN else state
        where, values = _select(series=series, state=None if stored == DAMAGED else stored)
        lines: list[ShotLine] = []
        if limit is not None:
            values["limit"] = limit
        for shot in self._find_shots(where, values, newest_first=True):
            line = self._read_line(shot)
            if series is not None and line.series != series:
                continue  # the ids came from beside a damaged index
            if stored is not None and line.state != stored:
                continue
            lines.append(line)
            if limit is not None and len(lines) >= limit:
                break
        return lines[::-1]

    def _read_line(self, shot: int) -> ShotLine:
        row: tuple[Any, ...] = (None,) * 7
        try:
            row = self._fetch(shot)
            content = from_text(*row[5:])
            rig = {} if row[2] is None else self._rows.read_shared("rig", row[2])
            return from_plain(
                ShotLine,
                content
                | {"shot": shot, "series": row[0], "number": row[1], "rig_name": rig.get("name")},
            )
        except (DamagedValue, sqlite3.DatabaseError) as error:
            self._tell(f"shot {shot}", error)
            whole = [one if type(one) is int else 0 for one in row[:2]]
            return ShotLine(shot=shot, series=whole[0], number=whole[1], begun_us=0, state=DAMAGED)

    def list_series(self, *, limit: int | None = 20) -> list[SeriesLine]:
        """Return the newest series, newest last."""
        found: list[SeriesLine] = []
        values = {} if limit is None else {"limit": limit}
        for series in self.find_ids("series", "", values, newest_first=True):
            with self._skip_damage(f"series {series}"), explain_errors(self.path):
                found.append(self._read_series_line(series))
            if limit is not None and len(found) >= limit:
                break
        return found[::-1]

    def _read_series_line(self, series: int) -> SeriesLine:
        record = self.read_series(series)
        rig = self._connection.execute(
            "SELECT name FROM rig WHERE id = (SELECT rig_id FROM series WHERE id = ?)", (series,)
        ).fetchone()
        counts = self._connection.execute(
            "SELECT count(*), coalesce(sum(state = 'begun'), 0) FROM shot WHERE series_id = ?",
            (series,),
        ).fetchone()
        own = {one.name: getattr(record, one.name) for one in dataclasses.fields(record)}
        rig_name = None if rig is None else rig[0]
        return SeriesLine(**own, rig_name=rig_name, shots=counts[0], unknown=counts[1])

    def list_states(self) -> list[str]:
        """Return the states that shots of the log are in, as people see them."""
        try:
            found = {row[0] for row in self.query("SELECT DISTINCT state FROM shot")}
        except LogDamaged:
            found = {line.state for line in self.list_shots(limit=None)}
        names = {DAMAGED if not isinstance(one, str) else one for one in found}
        return sorted(UNKNOWN if one == BEGUN else one for one in names)

    def latest_us(self) -> int:
        """Return the time of the newest entry, in microseconds since 1970; 0 of an empty log."""
        newest = 0
        for series in self.find_ids("series", newest_first=True):
            with self._skip_damage(f"series {series}"):
                newest = self.read_series(series).begun_us
                break
        for line in self.list_shots(limit=1):
            with self._skip_damage(f"shot {line.shot}"):
                record = self._read_record(line.shot, self._fetch(line.shot))
                newest = max(newest, record.begun_us or 0, record.completed_us or 0)
        return newest

    def count_shots(self) -> int:
        """Return how many shots the log holds."""
        with contextlib.suppress(LogDamaged):
            return int(self.query("SELECT count(*) FROM shot")[0][0])
        return len(self._find_shots("", {}))

    # -- one shot, one series ----------------------------------------------------------------------
    def read_shot(self, shot: int) -> LoggedShot:
        """Return everything about one shot; raises NoSuchShot, LogDamaged."""
        with self._name_damage(f"shot {shot}"):
            return self._read_whole(shot)

    def read_shots(
        self, *, series: int | None = None, state: str | None = None
    ) -> Iterator[LoggedShot]:
        """Read shots one after another, oldest first. Damaged ones are left out and reported to `on_damage`."""
        where, values = _select(series=series, state=state)
        for logged in self.read_these(self._find_shots(where, values)):
            # The ids came from beside a damaged index where these do not fit.
            if series in (None, logged.record.series) and state in (None, logged.record.state):
                yield logged

    def read_these(self, shots: Iterable[int]) -> Iterator[LoggedShot]:
        """Read these shots one after another. Damaged ones are left out and reported to `on_damage`."""
        for shot in shots:
            logged = None
            with self._skip_damage(f"shot {shot}"):
                logged = self._read_whole(shot)
            if logged is not None:
                yield logged

    def find_shots(self, *, series: Sequence[int] = (), shots: Sequence[int] = ()) -> list[int]:
        """Return the ids of these shots and of all shots of these series; without either, of all in the log."""
        found = self._find_shots("", {})
        if not series and not shots:
            return found
        wanted = {
            *shots,
            *(one for number in series for one in self._find_shots(*_select(series=number))),
        }
        return [one for one in found if one in wanted]

    def _read_whole(self, shot: int) -> LoggedShot:
        row = self._fetch(shot)
        return LoggedShot(
            record=self._read_record(shot, row),
            table=self._rows.read_table(row[3]),
            rig=None if row[2] is None else self._rows.read_shared("rig", row[2]),
            board=dataclasses.asdict(self._rows.read_board(row[4])),
        )

    def _read_record(self, shot: int, row: tuple[Any, ...]) -> ShotRecord:
        content = from_text(*row[5:]) | {"shot": shot, "series": row[0], "number": row[1]}
        if content.get("state") == BEGUN:
            content["state"] = UNKNOWN
        record = from_plain(ShotRecord, content)
        if record.begun_us is None:
            raise DamagedValue("begun_us is missing")
        return record

    def _fetch(self, shot: int) -> tuple[Any, ...]:
        row = self._connection.execute(_SHOT, (shot,)).fetchone()
        if row is None:
            raise self.no_such(shot)
        return tuple(row)

    def read_content(self, shot: int) -> dict[str, Any]:
        """Return the stored values of a shot; raises NoSuchShot, LogDamaged."""
        with self._name_damage(f"shot {shot}"):
            return from_text(*self._fetch(shot)[5:])

    def read_series(self, series: int) -> SeriesRecord:
        """Return what a series was fired for; raises NoSuchShot, LogDamaged."""
        with self._name_damage(f"series {series}"):
            content = self._rows.read("series", series)
            if content is None:
                newest = self._connection.execute("SELECT max(id) FROM series").fetchone()[0]
                raise NoSuchShot(
                    f"there is no series {series}; the log {self.path} has series up to {newest or 0}"
                )
            return from_plain(SeriesRecord, {**content, "series": series})

    def choose_series(self, series: int | None) -> int | None:
        """Return the series of that number, or the newest one that fired; None of an empty log. Raises NoSuchShot."""
        if series is not None:
            self.read_series(series)
            return series
        fired = self.list_shots(limit=1)
        if fired:
            return fired[0].series
        return next(iter(self.find_ids("series", newest_first=True)), None)

    # -- for readers beside this class -------------------------------------------------------------
    def query(
        self, select: str, values: Mapping[str, Any] | Sequence[Any] = ()
    ) -> list[tuple[Any, ...]]:
        """Return the rows of a SELECT on the tables of `migrations.py`."""
        with explain_errors(self.path):
            return self._connection.execute(select, values).fetchall()

    @contextlib.contextmanager
    def snapshot(self) -> Iterator[None]:
        """Everything read inside the block shows the log at one moment, whatever other programs write meanwhile."""
        with explain_errors(self.path):
            self._connection.execute("BEGIN")
            try:
                yield
            finally:
                if self._connection.in_transaction:
                    self._connection.execute("ROLLBACK")  # nothing was written

    def no_such(self, shot: int) -> NoSuchShot:
        newest = self._connection.execute("SELECT max(id) FROM shot").fetchone()[0]
        has = "is empty" if newest is None else f"has shots up to {newest}"
        return NoSuchShot(
            f"there is no shot {shot}; the log {self.path} {has}: `beamfall shots list`"
        )

    # -- damage ------------------------------------------------------------------------------------
    def _find_shots(
        self, where: str, values: Mapping[str, Any], *, newest_first: bool = False
    ) -> list[int]:
        return self.find_ids("shot", where, values, newest_first=newest_first)

    def find_ids(
        self,
        table: str,
        where: str = "",
        values: Mapping[str, Any] | None = None,
        *,
        newest_first: bool = False,
    ) -> list[int]:
        """The ids in a table; every possible id if its index or a page on the way is damaged."""
        order = " ORDER BY id DESC" if newest_first else " ORDER BY id"
        order += " LIMIT :limit" if values and "limit" in values else ""
        try:
            with explain_errors(self.path):
                found = self._connection.execute(
                    f"SELECT id FROM {table}{where}{order}", values or {}
                ).fetchall()
            return [int(row[0]) for row in found]
        except LogDamaged as error:
            self._tell(f"the table of {table}s" if table == "shot" else f"the table {table}", error)
            ids = [
                one for one in range(1, self._find_most(table) + 1) if self._is_there(table, one)
            ]
            return ids[::-1] if newest_first else ids

    def _find_most(self, table: str) -> int:
        """The highest possible id."""
        for select in (
            f"SELECT max(id) FROM {table}",
            f"SELECT seq FROM sqlite_sequence WHERE name = '{table}'",
        ):
            with contextlib.suppress(sqlite3.DatabaseError, TypeError, ValueError):
                most = int(self._connection.execute(select).fetchone()[0])
                if 0 < most < 10_000_000:
                    return most
        return self.path.stat().st_size // 100  # no row is smaller

    def _is_there(self, table: str, number: int) -> bool:
        try:
            row = self._connection.execute(
                f"SELECT 1 FROM {table} WHERE id = ?", (number,)
            ).fetchone()
        except sqlite3.DatabaseError:
            return True  # it may be, and it cannot be read
        return row is not None

    @contextlib.contextmanager
    def _skip_damage(self, what: str) -> Iterator[None]:
        """Leave out what is damaged inside the block, and report it."""
        try:
            yield
        except (DamagedValue, LogDamaged, NoSuchShot, sqlite3.DatabaseError) as error:
            self._tell(what, error)

    @contextlib.contextmanager
    def _name_damage(self, what: str) -> Iterator[None]:
        """Raise LogDamaged with a name for what is damaged inside the block."""
        try:
            with explain_errors(self.path):
                yield
        except DamagedValue as error:
            raise LogDamaged(self.path, what, str(error)) from error
        except LogDamaged as error:
            raise LogDamaged(self.path, what, error.why) from error

    def _tell(self, what: str, error: Exception) -> None:
        if what in self._told:
            return
        self._told.add(what)
        why = error.why if isinstance(error, LogDamaged) else str(error)
        self.on_damage(str(LogDamaged(self.path, what, why)))


def _select(**wanted: object) -> tuple[str, dict[str, Any]]:
    values = {name: value for name, value in wanted.items() if value is not None}
    names = {"series": "series_id"}
    parts = [f"{names.get(name, name)} = :{name}" for name in values]
    return (f" WHERE {' AND '.join(parts)}" if parts else ""), values
