"""What was fired and what was measured: the record of one shot, and the log of them all."""

from __future__ import annotations

from beamfall.shots.lines import LoggedShot, SeriesLine, ShotLine
from beamfall.shots.log import ShotLog
from beamfall.shots.place import find_log
from beamfall.shots.record import EdgeRecord, ShotRecord, make_record, match_edges

__all__ = [
    "EdgeRecord",
    "LoggedShot",
    "SeriesLine",
    "ShotLine",
    "ShotLog",
    "ShotRecord",
    "find_log",
    "make_record",
    "match_edges",
]
