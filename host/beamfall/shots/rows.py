"""The rows of the log: one JSON text each with its checksum. What many shots share is kept once."""

from __future__ import annotations

import hashlib
import sqlite3
from collections.abc import Callable, Mapping
from typing import Any

from beamfall.setup.rig import Rig
from beamfall.setup.table import Table
from beamfall.shots.record import BoardRecord
from beamfall.shots.stored import (
    DamagedValue,
    from_plain,
    from_text,
    make_checksum,
    to_plain,
    to_text,
)

_KNOWN_MOST = 1000  # rows remembered; a sweep has as many tables as shots
_TEXTS = {"rig": "snapshot", "sequence": "content"}  # of the other tables: record


def make_digest(content: Mapping[str, Any]) -> bytes:
    """Return 16 bytes that identify a content."""
    return hashlib.sha256(to_text(content).encode()).digest()[:16]


class Rows:
    """Adds and reads rows. Call what writes inside a transaction, and `forget` when that fails."""

    def __init__(self, connection: sqlite3.Connection) -> None:
        self._connection = connection
        self._ids: dict[tuple[str, bytes], int] = {}
        self._shared: dict[tuple[str, int], dict[str, Any]] = {}

    def forget(self) -> None:
        """Forget the ids given out: some may not exist after all."""
        self._ids.clear()
        self._shared.clear()

    def add(self, table: str, content: Mapping[str, Any], **keys: Any) -> int:
        """Add a row and return its id. The names come from this package, never from a user."""
        text = to_text(content)
        values = {**keys, _TEXTS.get(table, "record"): text, "checksum": make_checksum(text)}
        names, places = ", ".join(values), ", ".join(f":{name}" for name in values)
        cursor = self._connection.execute(
            f"INSERT INTO {table} ({names}) VALUES ({places})", values
        )
        assert cursor.lastrowid is not None
        return cursor.lastrowid

    def write(self, table: str, number: int, content: Mapping[str, Any]) -> None:
        """Write the content of a row that is there."""
        text = to_text(content)
        self._connection.execute(
            f"UPDATE {table} SET {_TEXTS.get(table, 'record')} = ?, checksum = ? WHERE id = ?",
            (text, make_checksum(text), number),
        )

    def keep_rig(self, rig: Rig | None) -> int | None:
        return None if rig is None else self._keep("rig", rig.to_dict, rig.digest)

    def keep_table(self, table: Table) -> int:
        content = table.to_dict()
        return self._keep("sequence", lambda: content, make_digest(content))

    def keep_board(self, board: BoardRecord) -> int:
        content = to_plain(board)
        return self._keep("board", lambda: content, make_digest(content))

    def _keep(self, table: str, make: Callable[[], Mapping[str, Any]], digest: bytes) -> int:
        """Return the id of the row with that digest, made if there is none."""
        known = self._ids.get((table, digest))
        if known is not None:
            return known
        row = self._connection.execute(
            f"SELECT id FROM {table} WHERE digest = ?", (digest,)
        ).fetchone()
        found = self.add(table, make(), digest=digest) if row is None else int(row[0])
        if len(self._ids) > _KNOWN_MOST:
            self._ids.clear()
        self._ids[table, digest] = found
        return found

    def read(self, table: str, number: int) -> dict[str, Any] | None:
        """Return the content of a row, None if there is no such row; raises DamagedValue."""
        row = self._connection.execute(
            f"SELECT {_TEXTS.get(table, 'record')}, checksum FROM {table} WHERE id = ?", (number,)
        ).fetchone()
        return None if row is None else from_text(*row)

    def read_shared(self, table: str, number: int) -> dict[str, Any]:
        """Return the content of a row that shots point to, which must be there; raises DamagedValue."""
        known = self._shared.get((table, number))
        if known is None:
            try:
                known = self.read(table, number)
            except DamagedValue as error:
                raise DamagedValue(f"its {table}: {error}") from error
            if known is None:
                raise DamagedValue(f"its {table} is missing")
            if len(self._shared) > _KNOWN_MOST:
                self._shared.clear()
            self._shared[table, number] = known
        return known

    def read_table(self, number: int) -> Table:
        """Return a sequence table; raises DamagedValue."""
        content = self.read_shared("sequence", number)
        try:
            return Table.from_dict(content)
        except (ValueError, TypeError, LookupError, AttributeError, OverflowError) as error:
            raise DamagedValue("its sequence is not valid") from error

    def read_board(self, number: int) -> BoardRecord:
        """Return a board; raises DamagedValue."""
        return from_plain(BoardRecord, self.read_shared("board", number))
