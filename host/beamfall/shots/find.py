"""Finds shots in the log by what they share: a board's release, a rig, a sequence, a picture."""

from __future__ import annotations

import hashlib
import os
import platform
from collections.abc import Collection
from pathlib import Path
from typing import Any

from beamfall.scratch import is_running
from beamfall.setup.table import Table
from beamfall.shots.read import LogReader
from beamfall.shots.record import BEGUN, NOT_RELEASED


def name_process() -> str:
    """Return a name for this process: machine, process number, and when it started where that is known."""
    return f"{_name_machine()}/{os.getpid()}/{_find_start(os.getpid())}"


def _name_machine() -> str:
    """A short digest: an export should not reveal the machine's own name."""
    return hashlib.sha256(platform.node().encode("utf-8", "replace")).hexdigest()[:8]


def may_run(name: str | None) -> bool:
    """Whether the process of that name may still be running; also true if it is on another machine.

    A shot of an older log has no name: its program counts as ended. So does this process itself: it knows which
    shots it has begun.
    """
    if not name or name == name_process():
        return False
    parts = name.split("/")
    if len(parts) != 3 or parts[0] != _name_machine() or not parts[1].isdecimal():
        return True
    process = int(parts[1])
    return is_running(process) and parts[2] == _find_start(process)


def _find_start(process: int) -> str:
    """When a process started, in ticks since the machine did (proc(5), field 22); empty if there is no /proc."""
    try:
        return (
            Path(f"/proc/{process}/stat")
            .read_text("utf-8", "replace")
            .rpartition(")")[2]
            .split()[19]
        )
    except (OSError, IndexError):
        return ""


class LogFinder(LogReader):
    """The questions that are asked in SQL."""

    # -- what a board asks -------------------------------------------------------------------------
    def find_table(self, digest: bytes, clock_hz: int) -> Table | None:
        """Return the table that a board knows by this digest, newest first, or None if the log has never seen it.

        The log's own digest is of a table's content, so this reads table after table.
        """
        for number in self.find_ids("sequence", newest_first=True):
            with self._skip_damage(f"sequence {number}"):
                table = self._rows.read_table(number)
                if table.clock_hz == clock_hz and table.digest == digest:
                    return table
        return None

    def has_release(self, unique_id: bytes, boot_id: int, release: int) -> bool:
        """Whether a release of one boot of a board is in the log, ended or not."""
        return bool(self._find_release(unique_id, boot_id, release))

    def find_begun(self, unique_id: bytes, boot_id: int, release: int) -> int | None:
        """Return the begun shot that a board's late report belongs to, or None.

        Also None if that release already has its outcome: the report is a repeat.
        """
        rows = self._find_release(unique_id, boot_id, release)
        if not rows or any(state != BEGUN for _, state in rows):
            return None
        return int(rows[0][0])

    def _find_release(self, unique_id: bytes, boot_id: int, release: int) -> list[tuple[Any, ...]]:
        return self.query(
            "SELECT shot.id, state FROM shot JOIN board ON board.id = shot.board_id"
            " WHERE release_number = ? AND boot_id = ? AND board.unique_id = ? AND state != ?"
            " ORDER BY shot.id DESC",
            (release, boot_id, unique_id.hex(), NOT_RELEASED),
        )

    def find_never_released(
        self, unique_id: bytes, boot_id: int, last_release: int, *, below: int | None = None
    ) -> list[int]:
        """Return begun shots that the board has certainly not released in this boot: it has not reached their number.

        A shot is left alone while the program that began it may still run and release it.
        Releases from `below` on belong to the board's button, which counts separately: those did happen.
        """
        rows = self.query(
            "SELECT shot.id FROM shot JOIN board ON board.id = shot.board_id"
            " WHERE state = ? AND boot_id = ? AND board.unique_id = ?"
            " AND release_number > ? AND release_number < coalesce(?, release_number + 1)",
            (BEGUN, boot_id, unique_id.hex(), last_release, below),
        )
        return [
            logged.record.shot or 0
            for logged in self.read_these(int(row[0]) for row in rows)
            if not may_run(logged.record.host)
        ]

    # -- what is alike -----------------------------------------------------------------------------
    def find_alike(self, shot: int, within_us: int) -> list[int]:
        """Return the fired shots of the same sequence, rig and board, up to this one, oldest first.

        Those that began `within_us` before this one or earlier are left out.
        """
        rows = self.query(
            "SELECT other.id FROM shot AS this JOIN shot AS other ON other.sequence_id = this.sequence_id"
            " AND other.rig_id = this.rig_id AND other.board_id = this.board_id AND other.state = 'fired'"
            " AND other.begun_us > this.begun_us - ? AND other.id <= this.id WHERE this.id = ? ORDER BY other.id",
            (within_us, shot),
        )
        return [row[0] for row in rows]

    def find_newest_of(
        self,
        unique_id: bytes,
        rig_digest: bytes,
        *,
        begun_us: int,
        port: str | None,
        but: Collection[str],
        limit: int,
    ) -> list[int]:
        """Return the newest shots of a board with a rig since `begun_us`, newest first, through this port (None: any).

        Those in series of the kinds `but` are left out.
        """
        rows = self.query(
            "SELECT shot.id FROM shot JOIN board ON board.id = shot.board_id"
            " JOIN rig ON rig.id = shot.rig_id JOIN series ON series.id = shot.series_id"
            f" WHERE board.unique_id = ? AND rig.digest = ? AND series.kind NOT IN ({', '.join('?' * len(but))})"
            " AND shot.begun_us >= ? AND shot.port = coalesce(?, shot.port)"
            " ORDER BY shot.id DESC LIMIT ?",
            (unique_id.hex(), rig_digest, *but, begun_us, port, limit),
        )
        return [row[0] for row in rows]

    def find_pictures(self) -> dict[int, str]:
        """Return the photograph of each shot that has one."""
        return dict(self.query("SELECT id, picture FROM shot WHERE picture IS NOT NULL"))

    def find_kinds(self) -> dict[int, str]:
        """Return the kind of each series."""
        return dict(self.query("SELECT id, kind FROM series"))
