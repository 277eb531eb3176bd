"""The shot log: each shot is written down before its release and completed after it.

A shot that was begun and never completed shows that the program ended in between: whether the
valves opened is then not known from here, and the log says so ('outcome unknown') until the board's
own report, if it still has one, completes the shot.
"""

from __future__ import annotations

import contextlib
import json
import sqlite3
import time
from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path
from types import TracebackType
from typing import TYPE_CHECKING, Any, Self

from beamfall.errors import LogError, NoSuchShot, UserError
from beamfall.setup.sequence import Table
from beamfall.shots.assemble import LINE_SQL, read_edges, read_line, read_whole
from beamfall.shots.catalogue import Catalogue, insert, row_id, to_json
from beamfall.shots.database import explain_errors, open_database
from beamfall.shots.lines import BEGUN, NOT_RELEASED, UNKNOWN, LoggedShot, SeriesLine, ShotLine
from beamfall.shots.place import find_log
from beamfall.shots.record import EdgeRecord, ShotRecord, plan_of

if TYPE_CHECKING:
    from beamfall.link import Welcome
    from beamfall.setup.rig import Rig


class ShotLog:
    """An open shot log. Use one for each thread; any number of programs may have it open at once."""

    def __init__(self, path: Path, connection: sqlite3.Connection) -> None:
        self.path = path
        self._connection = connection
        self._catalogue = Catalogue(connection)

    @classmethod
    def open(cls, path: str | Path | None = None, *, read_only: bool = False) -> Self:
        """Open the log at `path` (None: where `find_log` says), made where it does not exist.

        Raises LogReadOnly, LogNewer, LogError; with `read_only` also where there is no log.
        """
        file = find_log() if path is None else Path(path)
        return cls(file, open_database(file, read_only=read_only))

    @classmethod
    def open_existing(cls, path: str | Path | None = None) -> Self | None:
        """Open the log for reading; None where no shot has been logged yet."""
        file = find_log() if path is None else Path(path)
        return cls.open(file, read_only=True) if file.exists() else None

    def close(self) -> None:
        """Close the file; committed shots are in it whether or not this is called."""
        self._connection.close()

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.close()

    # -- writing -----------------------------------------------------------------------------------
    def begin_series(
        self,
        kind: str,
        *,
        rig: Rig | None = None,
        seed: int | None = None,
        name: str = "",
        settings: Mapping[str, Any] | None = None,
        begun_us: int | None = None,
    ) -> int:
        """Begin a series (`shoot`, `sweep`, ...), now or at `begun_us`, and return its number."""
        with self._transaction():
            cursor = self._connection.execute(
                "INSERT INTO series (kind, name, begun_us, rig_id, seed, settings)"
                " VALUES (?, ?, ?, ?, ?, ?)",
                (
                    kind,
                    name,
                    _now_us() if begun_us is None else begun_us,
                    self._catalogue.keep_rig(rig),
                    seed,
                    to_json(settings or {}),
                ),
            )
            return row_id(cursor)

    def begin_shot(
        self,
        series: int,
        *,
        table: Table,
        board: Welcome,
        port: str,
        release: int,
        rig: Rig | None = None,
        seed: int | None = None,
        swept: Mapping[str, Any] | None = None,
        begun_us: int | None = None,
    ) -> int:
        """Write a shot down before its release, in one transaction; return its id.

        Only when this has returned may the shot be released. `begun_us` is the time of day, UTC in
        microseconds since 1970; now when left out. Raises LogError, and then nothing is logged and
        nothing should be released.
        """
        plan = plan_of(table)
        with self._transaction():
            number = self._connection.execute(
                "SELECT coalesce(max(number), 0) + 1 FROM shot WHERE series_id = ?", (series,)
            ).fetchone()[0]
            values = {
                "series_id": series,
                "number": number,
                "begun_us": _now_us() if begun_us is None else begun_us,
                "state": BEGUN,
                "rig_id": self._catalogue.keep_rig(rig),
                "sequence_id": self._catalogue.keep_table(table),
                "board_id": self._catalogue.keep_board(board),
                "port": port,
                "boot_id": board.boot_id,
                "release_number": release,
                "seed": seed,
                "swept": None if swept is None else to_json(swept),
                **plan,
            }
            return row_id(self._connection.execute(insert("shot", values), values))

    def complete_shot(
        self,
        shot: int,
        record: ShotRecord,
        *,
        link: Mapping[str, Any] | None = None,
        completed_us: int | None = None,
    ) -> None:
        """Write the outcome of a begun shot, edges and all, in one transaction; it came now or at `completed_us`.

        Raises LogError where the shot is not in the log or has an outcome already.
        """
        with self._transaction():
            self._settle(
                shot,
                record.state,
                record.cause,
                counts=to_json(record.counts),
                truth=None if record.truth is None else to_json(record.truth),
                link=None if link is None else to_json(link),
                **({} if completed_us is None else {"completed_us": completed_us}),
            )
            self._connection.executemany(
                "INSERT INTO edge VALUES (?, ?, ?, ?, ?, ?, ?)",
                (
                    (shot, n, edge.what, edge.edge, edge.planned_ticks, edge.ticks, edge.source)
                    for n, edge in enumerate(record.edges)
                ),
            )

    def cancel_shot(self, shot: int, cause: str) -> None:
        """Mark a begun shot as surely not released: the board refused, and `cause` says why."""
        with self._transaction():
            self._settle(shot, NOT_RELEASED, cause)

    def keep_table(self, table: Table) -> None:
        """Keep a table that may be fired without this log, such as from a slot of the board."""
        with self._transaction():
            self._catalogue.keep_table(table)

    def set_note(self, shot: int, note: str) -> None:
        """Write the user's note to a shot."""
        self._set(shot, "note", note)

    def set_rating(self, shot: int, rating: int | None) -> None:
        """Write the user's rating, 1 to 5, or None to take it away."""
        if rating is not None and not 1 <= rating <= 5:
            raise UserError(f"rating {rating}: it must be from 1 to 5")
        self._set(shot, "rating", rating)

    def set_picture(
        self, shot: int, picture: str | None, *, match: Mapping[str, Any] | None = None
    ) -> None:
        """Name the photograph that belongs to a shot; `match` says how it was found, None by hand."""
        self.set_pictures({shot: (picture, match)})

    def set_pictures(
        self, pictures: Mapping[int, tuple[str | None, Mapping[str, Any] | None]]
    ) -> None:
        """The same for many shots, all or none: shot -> (picture, how it was found)."""
        with self._transaction():
            for shot, (picture, match) in pictures.items():
                how = None if match is None or picture is None else to_json(match)
                changed = self._connection.execute(
                    "UPDATE shot SET picture = ?, picture_match = ? WHERE id = ?",
                    (picture, how, shot),
                ).rowcount
                if not changed:
                    raise self._no_such(shot)

    def add_calibration(self, shots: Sequence[int], content: Mapping[str, Any]) -> int:
        """Keep what was found out of these shots; return its number. The first shot's rig and board count."""
        with self._transaction():
            row = self._connection.execute(
                "SELECT rig_id, board_id FROM shot WHERE id = ?", (shots[0],)
            ).fetchone()
            if row is None:
                raise self._no_such(shots[0])
            values = {
                "made_us": _now_us(),
                "rig_id": row[0],
                "board_id": row[1],
                "shots": to_json(list(shots)),
                "content": to_json(dict(content)),
            }
            return row_id(self._connection.execute(insert("calibration", values), values))

    # -- reading -----------------------------------------------------------------------------------
    def list_shots(
        self, *, limit: int | None = 20, series: int | None = None, state: str | None = None
    ) -> list[ShotLine]:
        """Return the newest shots, newest last; of one series or in one state where given."""
        where, values = ["1"], dict[str, Any]()
        if series is not None:
            where.append("series_id = :series")
            values["series"] = series
        if state is not None:
            where.append("state = :state")
            values["state"] = BEGUN if state == UNKNOWN else state
        values["limit"] = -1 if limit is None else limit
        query = f"{LINE_SQL} WHERE {' AND '.join(where)} ORDER BY shot.id DESC LIMIT :limit"
        with explain_errors(self.path):
            rows = self._connection.execute(query, values).fetchall()
        return [ShotLine(*row) for row in reversed(rows)]

    def list_series(self, *, limit: int | None = 20) -> list[SeriesLine]:
        """Return the newest series, newest last."""
        query = (
            "SELECT series.id, kind, series.name, series.begun_us, rig.name, series.seed, settings,"
            " series.note, count(shot.id), coalesce(sum(shot.state = 'begun'), 0)"
            " FROM (SELECT * FROM series ORDER BY id DESC LIMIT ?) AS series"
            " LEFT JOIN rig ON rig.id = series.rig_id"
            " LEFT JOIN shot ON shot.series_id = series.id GROUP BY series.id ORDER BY series.id"
        )
        with explain_errors(self.path):
            rows = self._connection.execute(query, (-1 if limit is None else limit,)).fetchall()
        return [SeriesLine(*(*row[:6], json.loads(row[6]), *row[7:])) for row in rows]

    def latest_us(self) -> int:
        """Return the time of the newest entry, in microseconds since 1970; 0 of an empty log."""
        newest: int = self.query(
            "SELECT max(coalesce((SELECT max(begun_us) FROM series), 0),"
            " coalesce((SELECT max(max(begun_us, coalesce(completed_us, 0))) FROM shot), 0))"
        )[0][0]
        return newest

    def count_shots(self) -> int:
        """Return how many shots the log holds."""
        with explain_errors(self.path):
            count: int = self._connection.execute("SELECT count(*) FROM shot").fetchone()[0]
        return count

    def read_shot(self, shot: int) -> LoggedShot:
        """Return everything about one shot; raises NoSuchShot."""
        with explain_errors(self.path):
            line = read_line(self._connection, shot)
            if line is None:
                raise self._no_such(shot)
            return read_whole(self._connection, line)

    def read_edges(self, shot: int) -> tuple[EdgeRecord, ...]:
        """Return the edges of a shot in time order; none where its outcome is unknown."""
        with explain_errors(self.path):
            return read_edges(self._connection, shot)

    def find_table(self, digest: bytes, clock_hz: int) -> Table | None:
        """Return the table that a board knows by this digest, or None where the log has never seen it."""
        with explain_errors(self.path):
            return self._catalogue.find_table(digest, clock_hz)

    def has_release(self, unique_id: bytes, boot_id: int, release: int) -> bool:
        """Whether a release of a board's life is in the log, ended or not."""
        with explain_errors(self.path):
            row = self._connection.execute(
                "SELECT 1 FROM shot JOIN board ON board.id = shot.board_id"
                " WHERE release_number = ? AND boot_id = ? AND board.unique_id = ? AND state != ?",
                (release, boot_id, unique_id.hex(), NOT_RELEASED),
            ).fetchone()
        return row is not None

    def find_begun(self, unique_id: bytes, boot_id: int, release: int) -> int | None:
        """Return the begun shot that a board's late report belongs to, or None.

        None also where that release has its outcome already: the report is a repeat.
        """
        with explain_errors(self.path):
            rows = self._connection.execute(
                "SELECT shot.id, state FROM shot JOIN board ON board.id = shot.board_id"
                " WHERE release_number = ? AND boot_id = ? AND board.unique_id = ? AND state != ?"
                " ORDER BY shot.id DESC",
                (release, boot_id, unique_id.hex(), NOT_RELEASED),
            ).fetchall()
        if not rows or any(state != BEGUN for _, state in rows):
            return None
        return int(rows[0][0])

    def find_never_released(
        self, unique_id: bytes, boot_id: int, last_release: int, *, below: int | None = None
    ) -> list[int]:
        """Return begun shots that the board in this life has surely not released: their number is yet to come.

        Releases from `below` on are of the board's button, which counts apart: those did happen.
        """
        with explain_errors(self.path):
            rows = self._connection.execute(
                "SELECT shot.id FROM shot JOIN board ON board.id = shot.board_id"
                " WHERE state = ? AND boot_id = ? AND board.unique_id = ?"
                " AND release_number > ? AND release_number < coalesce(?, release_number + 1)",
                (BEGUN, boot_id, unique_id.hex(), last_release, below),
            ).fetchall()
        return [int(row[0]) for row in rows]

    def query(
        self, select: str, values: Mapping[str, Any] | Sequence[Any] = ()
    ) -> list[tuple[Any, ...]]:
        """Return the rows of a SELECT on the tables of `migrations.py`, for readers beside this class."""
        with explain_errors(self.path):
            return self._connection.execute(select, values).fetchall()

    def iterate(
        self, select: str, values: Mapping[str, Any] | Sequence[Any] = ()
    ) -> Iterator[tuple[Any, ...]]:
        """The same, a row at a time: for what may not fit into memory."""
        with explain_errors(self.path):
            yield from self._connection.execute(select, values)

    @contextlib.contextmanager
    def snapshot(self) -> Iterator[None]:
        """All that is read inside the block is of one moment, whatever other programs write meanwhile."""
        with explain_errors(self.path):
            self._connection.execute("BEGIN")
            try:
                yield
            finally:
                if self._connection.in_transaction:
                    self._connection.execute("ROLLBACK")  # nothing was written

    # -- inside ------------------------------------------------------------------------------------
    @contextlib.contextmanager
    def _transaction(self) -> Iterator[None]:
        """One transaction; on any error nothing of it stays."""
        with explain_errors(self.path):
            self._connection.execute("BEGIN IMMEDIATE")
            try:
                yield
                self._connection.execute("COMMIT")
            except BaseException:
                self._catalogue.forget()  # an id given out inside does not exist after all
                if self._connection.in_transaction:
                    self._connection.execute("ROLLBACK")
                raise

    def _settle(self, shot: int, state: str, cause: str | None, **more: Any) -> None:
        values = {"state": state, "cause": cause, "completed_us": _now_us(), **more}
        settings = ", ".join(f"{name} = :{name}" for name in values)
        changed = self._connection.execute(
            f"UPDATE shot SET {settings} WHERE id = :shot AND state = '{BEGUN}'",
            {**values, "shot": shot},
        ).rowcount
        if changed:
            return
        row = self._connection.execute("SELECT state FROM shot WHERE id = ?", (shot,)).fetchone()
        if row is None:
            raise self._no_such(shot)
        raise LogError(
            f"shot {shot} has its outcome already ({row[0]}); a shot is completed once, "
            "and the log keeps what it has"
        )

    def _set(self, shot: int, column: str, value: object) -> None:
        with self._transaction():
            changed = self._connection.execute(
                f"UPDATE shot SET {column} = ? WHERE id = ?", (value, shot)
            ).rowcount
            if not changed:
                raise self._no_such(shot)

    def _no_such(self, shot: int) -> NoSuchShot:
        newest = self._connection.execute("SELECT max(id) FROM shot").fetchone()[0]
        has = "is empty" if newest is None else f"has shots up to {newest}"
        return NoSuchShot(
            f"there is no shot {shot}; the log {self.path} {has}: `beamfall shots list`"
        )


def _now_us() -> int:
    return time.time_ns() // 1000
