"""Which timings are checked: those that were really fired on the board, if that can be known.

A fresh plan compared with itself always fits; what somebody has set by hand, weeks of tuning ago, may not.
"""

from __future__ import annotations

import time
from collections.abc import Iterable
from dataclasses import dataclass

from beamfall.board import Board
from beamfall.errors import LogError
from beamfall.faults.origin import Origin, Source
from beamfall.setup.rig import Rig
from beamfall.setup.sequence import Sequence
from beamfall.setup.table import Table
from beamfall.shots import ShotLog
from beamfall.shots.repeat import rebuild_sequence

RECENT_S = 24 * 3600.0  # shots fired longer ago are hardly what fails now (our choice)
_VARIED = ("sweep", "seek", "calibrate")  # these change timings on purpose, or fire no flash
_LOOKS = 50  # newest shots looked at


@dataclass(frozen=True)
class Timings:
    """A sequence, and where it comes from."""

    sequence: Sequence
    origin: Origin


def find_timings(board: Board, rig: Rig, now_s: float | None = None) -> Timings | None:
    """Return what this board fires with this rig: its newest shot in the log, else what the board holds.

    A shot counts when it was fired with this very rig file within a day. None if neither is
    known: a log that is missing or cannot be read is no reason not to look for a fault.
    """
    try:
        log = ShotLog.open_existing()
        if log is None:
            return None
        with log:
            newest = _find_newest(log, board, rig, time.time() if now_s is None else now_s)
            return newest or _find_held(log, board, rig)
    except LogError:
        return None


def _find_newest(log: ShotLog, board: Board, rig: Rig, now_s: float) -> Timings | None:
    port = board.name if board.traits.names_rig else None
    found = log.find_newest_of(
        board.info.unique_id, rig.digest, begun_us=round((now_s - RECENT_S) * 1e6), port=port, but=_VARIED,
        limit=_LOOKS,
    )  # fmt: skip
    shots = log.read_these(found)
    return _take_first(((one.table, Origin(Source.SHOT, one.record.shot)) for one in shots), rig)


def _find_held(log: ShotLog, board: Board, rig: Rig) -> Timings | None:
    status = board.status()
    if status.table.name != "ready":
        return None
    table = log.find_table(status.digest, board.info.clock_hz)
    return _take_first([] if table is None else [(table, Origin(Source.BOARD))], rig)


def _take_first(tables: Iterable[tuple[Table, Origin]], rig: Rig) -> Timings | None:
    """The first that is a whole shot of this rig: not a warm-up, nor of other outputs."""
    valves = {valve.output for valve in rig.valves}
    for table, origin in tables:
        outputs = {row.output for row in table.rows}
        if outputs & valves and (not rig.flashes or table.flash_row() is not None):
            return Timings(rebuild_sequence(table, origin.name()), origin)
    return None
