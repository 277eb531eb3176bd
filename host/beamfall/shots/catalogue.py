"""What many shots share, kept once in the log: rigs, sequence tables, boards."""

from __future__ import annotations

import hashlib
import json
import sqlite3
from collections.abc import Callable, Mapping
from typing import TYPE_CHECKING, Any

from beamfall.setup.sequence import Table

if TYPE_CHECKING:
    from beamfall.link import Welcome
    from beamfall.setup.rig import Rig

_KNOWN_MOST = 1000  # ids remembered; a sweep has as many tables as shots


class Catalogue:
    """Gives the ids of rigs, tables and boards, writing a row where there is none yet.

    Call it inside the transaction that uses the id, and `forget` when that transaction fails.
    """

    def __init__(self, connection: sqlite3.Connection) -> None:
        self._connection = connection
        self._ids: dict[tuple[str, bytes], int] = {}

    def forget(self) -> None:
        """Forget the ids given out: some may not exist after all."""
        self._ids.clear()

    def keep_rig(self, rig: Rig | None) -> int | None:
        if rig is None:
            return None
        return self._keep(
            "rig", rig.digest, lambda: {"name": rig.name, "snapshot": to_json(rig.to_dict())}
        )

    def keep_table(self, table: Table) -> int:
        content = to_json(table.to_dict())
        digest = hashlib.sha256(content.encode()).digest()[:16]
        return self._keep(
            "sequence", digest, lambda: {"clock_hz": table.clock_hz, "content": content}
        )

    def find_table(self, digest: bytes, clock_hz: int) -> Table | None:
        """The table of that digest on the wire (`Table.digest`) and that clock, newest first; None: not here.

        The log's own digest is of a table's content, so this reads table after table.
        """
        rows = self._connection.execute(
            "SELECT content FROM sequence WHERE clock_hz = ? ORDER BY id DESC", (clock_hz,)
        )
        try:
            tables = (Table.from_dict(json.loads(content)) for (content,) in rows)
            return next((table for table in tables if table.digest == digest), None)
        finally:
            rows.close()

    def keep_board(self, board: Welcome) -> int:
        values = {
            "unique_id": board.unique_id.hex(),
            "name": board.name,
            "firmware": board.firmware,
            "protocol": board.protocol,
            "timing": board.timing.label,
            "clock_hz": board.clock_hz,
        }
        key = ("board", repr(values).encode())
        if key not in self._ids:
            matches = " AND ".join(f"{name} = :{name}" for name in values)
            query = f"SELECT id FROM board WHERE {matches}"
            row = self._connection.execute(query, values).fetchone()
            if row is None:
                self._connection.execute(insert("board", values), values)
                row = self._connection.execute(query, values).fetchone()
            self._ids[key] = int(row[0])
        return self._ids[key]

    def _keep(self, table: str, digest: bytes, make: Callable[[], Mapping[str, Any]]) -> int:
        """Return the id of the row with that digest, made where there is none."""
        known = self._ids.get((table, digest))
        if known is not None:
            return known
        row = self._connection.execute(
            f"SELECT id FROM {table} WHERE digest = ?", (digest,)
        ).fetchone()
        if row is None:
            values = {"digest": digest, **make()}
            found = row_id(self._connection.execute(insert(table, values), values))
        else:
            found = int(row[0])
        if len(self._ids) > _KNOWN_MOST:
            self._ids.clear()
        self._ids[table, digest] = found
        return found


def insert(table: str, values: Mapping[str, Any]) -> str:
    """The INSERT for named values; names come from this package, never from a user."""
    names = ", ".join(values)
    places = ", ".join(f":{name}" for name in values)
    return f"INSERT INTO {table} ({names}) VALUES ({places})"


def row_id(cursor: sqlite3.Cursor) -> int:
    """The id of the row just inserted."""
    assert cursor.lastrowid is not None
    return cursor.lastrowid


def to_json(value: Any) -> str:
    """Compact JSON, as the log keeps it."""
    return json.dumps(value, separators=(",", ":"), ensure_ascii=False)
