"""Changes that a test makes in a log without its public methods, as if the board had reported something else."""

from __future__ import annotations

import dataclasses
from typing import Any

from beamfall.shots import EdgeRecord, ShotLog


def change_shot(log: ShotLog, shot: int, **values: Any) -> None:
    """Write stored values of a shot; `edges` are EdgeRecords, put in order of time."""
    if "edges" in values:
        edges = sorted(values["edges"], key=lambda edge: edge.time_ticks or 0)
        values["edges"] = [list(dataclasses.astuple(edge)) for edge in edges]
    with log._transaction():
        log._change(shot, values)


def change_rows(log: ShotLog, table: str, **values: Any) -> None:
    """Write values of all rows of a table."""
    with log._transaction():
        for (number,) in log.query(f"SELECT id FROM {table}"):
            log._rows.write(table, number, {**(log._rows.read(table, number) or {}), **values})
        log._rows.forget()


def add_edges(log: ShotLog, shot: int, *edges: EdgeRecord) -> None:
    """Add edges to a shot."""
    change_shot(log, shot, edges=(*log.read_shot(shot).record.edges, *edges))
