"""The shot log: each shot is logged before its release and completed after it.

A shot that was begun and never completed shows that the program ended in between. The log cannot know
whether the valves opened, and says so ('outcome unknown') until the board's own report, if it still has
one, completes the shot.
"""

from __future__ import annotations

import contextlib
import sqlite3
import time
from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path
from typing import Any, Self

from beamfall.errors import LogError, UserError
from beamfall.files import hold_open
from beamfall.link import Welcome
from beamfall.places import find_log
from beamfall.setup.rig import Rig
from beamfall.setup.table import Table
from beamfall.shots.database import explain_errors, open_database
from beamfall.shots.find import LogFinder, name_process
from beamfall.shots.outcome import plan_of
from beamfall.shots.record import (
    BEGUN,
    NOT_RELEASED,
    PROGRAM_ENDED,
    BoardRecord,
    SeriesRecord,
    ShotRecord,
)
from beamfall.shots.stored import to_plain

_KEYS = ("shot", "series", "number")  # of a record: columns of their own


class ShotLog(LogFinder):
    """An open shot log. Use one for each thread; any number of programs may have it open at once.

    `LogReader` and `LogFinder` have the functions that read.
    """

    _held: contextlib.ExitStack

    @classmethod
    def open(cls, path: str | Path | None = None, *, read_only: bool = False) -> Self:
        """Open the log at `path` (None: where `find_log` says); create it if it does not exist.

        Raises LogReadOnly, LogNewer, LogError; with `read_only` also if there is no log.
        """
        file = find_log() if path is None else Path(path)
        log = cls(file, open_database(file, read_only=read_only))
        log._held = hold_open(
            *(file.with_name(f"{file.name}{end}") for end in ("", "-wal", "-shm"))
        )
        return log

    @classmethod
    def open_existing(cls, path: str | Path | None = None) -> Self | None:
        """Open the log for reading; None if no shot has been logged yet."""
        file = find_log() if path is None else Path(path)
        return cls.open(file, read_only=True) if file.exists() else None

    def close(self) -> None:
        """Close the file; committed shots are in it whether or not this is called."""
        self._connection.close()
        self._held.close()

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

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
        record = SeriesRecord(
            kind=kind,
            name=name,
            seed=seed,
            settings=dict(settings or {}),
            begun_us=_now_us() if begun_us is None else begun_us,
        )
        with self._transaction():
            return self._rows.add(
                "series", to_plain(record, but=("series",)), rig_id=self._rows.keep_rig(rig)
            )

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
        asked_by: str = "",
        begun_us: int | None = None,
    ) -> int:
        """Log a shot before its release, in one transaction; return its id.

        Only when this has returned may the shot be released. `begun_us` is the time of day, UTC in
        microseconds since 1970; now when left out. Raises LogError, and then nothing is logged and
        nothing should be released.
        """
        record = ShotRecord(
            state=BEGUN,
            begun_us=_now_us() if begun_us is None else begun_us,
            clock_hz=table.clock_hz,
            timing=board.timing.label,
            port=port,
            boot_id=board.boot_id,
            release=release,
            host=name_process(),
            seed=seed,
            swept=swept,
            asked_by=asked_by,
            **plan_of(table, rig),
        )
        with self._transaction():
            number = self._connection.execute(
                "SELECT coalesce(max(number), 0) + 1 FROM shot WHERE series_id = ?", (series,)
            ).fetchone()[0]
            return self._rows.add(
                "shot",
                to_plain(record, but=_KEYS),
                series_id=series,
                number=number,
                rig_id=self._rows.keep_rig(rig),
                sequence_id=self._rows.keep_table(table),
                board_id=self._rows.keep_board(_describe_board(board)),
            )

    def complete_shot(
        self,
        shot: int,
        record: ShotRecord,
        *,
        link: Mapping[str, Any] | None = None,
        completed_us: int | None = None,
    ) -> None:
        """Write the outcome of a begun shot, edges and all, in one transaction; it came now or at `completed_us`.

        Every value that `record` has joins what was written at the beginning. Raises LogError if the shot is not
        in the log or has an outcome already.
        """
        completed_us = _now_us() if completed_us is None else completed_us
        outcome = to_plain(record, but=_KEYS) | {"completed_us": completed_us}
        if link is not None:
            outcome["link"] = dict(link)
        with self._transaction():
            self._settle(shot, outcome)

    def cancel_shot(self, shot: int, cause: str) -> None:
        """Mark a begun shot as certainly not released: the board refused, and `cause` says why."""
        with self._transaction():
            self._settle(shot, {"state": NOT_RELEASED, "cause": cause, "completed_us": _now_us()})

    def keep_table(self, table: Table) -> None:
        """Keep a table that may be fired without this log, such as from a slot of the board."""
        with self._transaction():
            self._rows.keep_table(table)

    def set_note(self, shot: int, note: str) -> None:
        """Write the user's note to a shot."""
        with self._transaction():
            self._change(shot, {"note": note})

    def set_rating(self, shot: int, rating: int | None) -> None:
        """Write the user's rating, 1 to 5, or None to remove it."""
        if rating is not None and not 1 <= rating <= 5:
            raise UserError(f"rating {rating}: expected 1 to 5, or 0 to remove it")
        with self._transaction():
            self._change(shot, {"rating": rating})

    def set_keywords(self, shot: int, keywords: Sequence[str]) -> None:
        """Write the keywords that a photo catalogue has for a shot's photograph; empty removes them."""
        with self._transaction():
            self._change(shot, {"keywords": list(keywords) or None})

    def set_picture(
        self, shot: int, picture: str | None, *, match: Mapping[str, Any] | None = None
    ) -> None:
        """Link the photograph that belongs to a shot; `match` says how it was found, None by hand."""
        self.set_pictures({shot: (picture, match)})

    def set_pictures(
        self, pictures: Mapping[int, tuple[str | None, Mapping[str, Any] | None]]
    ) -> None:
        """The same for many shots, all or none: shot -> (picture, how it was found)."""
        with self._transaction():
            for shot, (picture, match) in pictures.items():
                how = None if picture is None or match is None else dict(match)
                # What was measured belongs to the picture that was there.
                self._change(
                    shot, {"picture": picture, "picture_match": how, "picture_measured": None}
                )

    def add_photograph(
        self,
        shot: int,
        picture: str,
        *,
        match: Mapping[str, Any],
        exposure: Mapping[str, Any] | None = None,
    ) -> None:
        """Link the photograph that arrived for a shot, with how it was found and how it was exposed."""
        values = {"picture": picture, "picture_match": dict(match), "exposure": exposure}
        with self._transaction():
            self._change(shot, values)

    def set_picture_measured(self, shot: int, measured: Mapping[str, Any] | None) -> None:
        """Keep what was measured in a shot's photograph; None removes it."""
        with self._transaction():
            self._change(shot, {"picture_measured": None if measured is None else dict(measured)})

    def add_calibration(self, shots: Sequence[int], content: Mapping[str, Any]) -> int:
        """Store a calibration from these shots; return its number. It belongs to the first shot's rig and board."""
        with self._transaction():
            row = self._connection.execute(
                "SELECT rig_id, board_id FROM shot WHERE id = ?", (shots[0],)
            ).fetchone()
            if row is None:
                raise self.no_such(shots[0])
            values = {"made_us": _now_us(), "shots": list(shots), "content": dict(content)}
            return self._rows.add("calibration", values, rig_id=row[0], board_id=row[1])

    @contextlib.contextmanager
    def _transaction(self) -> Iterator[None]:
        """One transaction; any error undoes all of it."""
        with explain_errors(self.path):
            self._connection.execute("BEGIN IMMEDIATE")
            try:
                yield
                self._connection.execute("COMMIT")
            except BaseException:
                self._rows.forget()  # an id given out inside does not exist after all
                if self._connection.in_transaction:
                    with contextlib.suppress(sqlite3.Error):  # report the first error
                        self._connection.execute("ROLLBACK")
                raise

    def _settle(self, shot: int, outcome: Mapping[str, Any]) -> None:
        content = self.read_content(shot)
        state = content.get("state")
        # Another program may have assumed that this one had ended; the board's report is the truth.
        taken_for_ended = state == NOT_RELEASED and content.get("cause") == PROGRAM_ENDED
        mine = content.get("host") == name_process()
        if state != BEGUN and not (taken_for_ended and mine):
            raise LogError(
                f"shot {shot} already has its outcome ({state}); a shot is completed once, "
                "and the log keeps what it has"
            )
        self._change(shot, {"cause": None, **outcome})

    def _change(self, shot: int, changes: Mapping[str, Any]) -> None:
        """Write values of a shot; None removes one."""
        content = {**self.read_content(shot), **changes}
        self._rows.write(
            "shot", shot, {name: value for name, value in content.items() if value is not None}
        )


def _describe_board(board: Welcome) -> BoardRecord:
    return BoardRecord(
        name=board.name,
        unique_id=board.unique_id.hex(),
        firmware=board.firmware,
        protocol=board.protocol,
        timing=board.timing.label,
        clock_hz=board.clock_hz,
    )


def _now_us() -> int:
    return time.time_ns() // 1000
