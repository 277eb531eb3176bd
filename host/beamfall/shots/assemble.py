"""One shot put together from the tables of the log."""

from __future__ import annotations

import json
import sqlite3
from typing import Any

from beamfall.setup.sequence import Table
from beamfall.shots.lines import LoggedShot, ShotLine
from beamfall.shots.record import EdgeRecord, ShotRecord

LINE_SQL = (
    "SELECT shot.id, series_id, number, begun_us, state, cause, rig.name, port, sequence.clock_hz,"
    " anchor_beam, anchor_count, flash_delay_ticks, spacing_ticks, rating, note FROM shot"
    " LEFT JOIN rig ON rig.id = shot.rig_id JOIN sequence ON sequence.id = shot.sequence_id"
)


def read_line(connection: sqlite3.Connection, shot: int) -> ShotLine | None:
    """The shot as in a list; None where it is not in the log."""
    row = connection.execute(f"{LINE_SQL} WHERE shot.id = ?", (shot,)).fetchone()
    return None if row is None else ShotLine(*row)


def read_edges(connection: sqlite3.Connection, shot: int) -> tuple[EdgeRecord, ...]:
    """The shot's edges in time order."""
    rows = connection.execute(
        "SELECT what, edge, planned_ticks, ticks, source FROM edge WHERE shot_id = ? ORDER BY number",
        (shot,),
    ).fetchall()
    return tuple(EdgeRecord(*row) for row in rows)


def read_whole(connection: sqlite3.Connection, line: ShotLine) -> LoggedShot:
    """Everything that the log knows of the shot of a line."""
    cursor = connection.execute(
        "SELECT shot.*, rig.snapshot, sequence.content FROM shot"
        " LEFT JOIN rig ON rig.id = shot.rig_id"
        " JOIN sequence ON sequence.id = shot.sequence_id WHERE shot.id = ?",
        (line.shot,),
    )
    names = [item[0] for item in cursor.description]
    values = dict(zip(names, cursor.fetchone(), strict=True))
    board_names = ("unique_id", "name", "firmware", "protocol", "timing", "clock_hz")
    board_row = connection.execute(
        f"SELECT {', '.join(board_names)} FROM board WHERE id = ?", (values["board_id"],)
    ).fetchone()
    board = dict(zip(board_names, board_row, strict=True))
    record = ShotRecord(
        shot=line.shot,
        state=line.shown_state,
        cause=line.cause,
        seed=values["seed"],
        clock_hz=line.clock_hz,
        timing=board["timing"],
        anchor_beam=line.anchor_beam,
        anchor_edge=values["anchor_edge"],
        anchor_count=line.anchor_count,
        flash_delay_ticks=line.flash_delay_ticks,
        spacing_ticks=line.spacing_ticks,
        edges=read_edges(connection, line.shot),
        truth=_unjson(values["truth"]),
        counts=_unjson(values["counts"]) or {},
    )
    return LoggedShot(
        line=line,
        record=record,
        table=Table.from_dict(json.loads(values["content"])),
        rig=_unjson(values["snapshot"]),
        board=board,
        boot_id=values["boot_id"],
        release=values["release_number"],
        completed_us=values["completed_us"],
        swept=_unjson(values["swept"]),
        link=_unjson(values["link"]),
        picture=values["picture"],
        picture_match=_unjson(values["picture_match"]),
    )


def _unjson(text: str | None) -> Any:
    return None if text is None else json.loads(text)
