"""What was fired and what was measured: the record of one shot, and the log of all shots."""

from __future__ import annotations

from beamfall.places import find_log
from beamfall.shots.log import ShotLog
from beamfall.shots.outcome import make_record, match_edges
from beamfall.shots.record import EdgeRecord, LoggedShot, SeriesLine, ShotLine, ShotRecord

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
