"""What a series in the shot log has done of its sweep, so that it can be resumed after an interruption.

Each shot carries its step in the log, written before its release. A step is done when one of its
shots has fired. One whose outcome is unknown, because the program ended under way, may have been
photographed: it stays in the table as such, and the step is fired again, so that no value is lost
and nothing passes for what it is not.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from collections.abc import Sequence as SequenceOf
from dataclasses import dataclass
from typing import Any

from beamfall.errors import UserError
from beamfall.planning.sweep.schedule import Step, Sweep
from beamfall.shots import SeriesLine, ShotLog, ShotRecord

_FRAMELESS = ("not-released",)
TRIES_MOST = 3


@dataclass(frozen=True)
class Entry:
    """A line of the contact table. `frame` counts the pictures the camera has taken in the series,
    from 1 (the shutter opens in every shot that is released); None if no shutter opened."""

    step: int
    value_ms: float
    repeat: int
    shot: int
    frame: int | None
    state: str
    shows: str | None
    picture: str | None

    def to_json(self) -> dict[str, Any]:
        return {name: getattr(self, name) for name in self.__dataclass_fields__}


def find_series(log: ShotLog, series: int | None) -> SeriesLine:
    """The series of a sweep: of that number, or the newest one that is a sweep. Raises UserError."""
    found = [
        line
        for line in log.list_series(limit=None)
        if line.kind == "sweep" and series in (None, line.series)
    ]
    if not found:
        raise UserError(
            "the log holds no sweep to resume"
            if series is None
            else f"series {series} is not a sweep in this log; see `beamfall shots list`"
        )
    return found[-1]


def list_entries(log: ShotLog, series: int) -> list[Entry]:
    """The contact table of a series: a line a shot, in the order of firing."""
    entries = []
    frame = 0
    for line in log.list_shots(limit=None, series=series):
        logged = log.read_shot(line.shot)
        swept = logged.record.swept or {}
        if "step" not in swept:
            continue  # warm-up drops: no shutter opened
        released = line.state not in _FRAMELESS
        frame += released
        entries.append(_make(logged.record, swept, frame if released else None))
    return entries


def make_entry(entries: SequenceOf[Entry], record: ShotRecord, swept: Mapping[str, Any]) -> Entry:
    """The line of a shot that has just ended, after the lines before it."""
    frame = max((one.frame for one in entries if one.frame is not None), default=0) + 1
    return _make(record, swept, frame)


def _make(record: ShotRecord, swept: Mapping[str, Any], frame: int | None) -> Entry:
    assert record.shot is not None, "a step of a sweep is in the log"
    return Entry(
        step=int(swept["step"]),
        value_ms=float(swept["value_ms"]),
        repeat=int(swept["repeat"]),
        shot=record.shot,
        frame=frame,
        state=record.shown_state,
        shows=record.pictures[0]["shows"] if record.pictures else None,
        picture=record.picture,
    )


def list_open(sweep: Sweep, entries: Iterable[Entry]) -> list[Step]:
    """The steps still to be fired: those that never fired, unless they missed too often."""
    done: set[int] = set()
    tries: dict[int, int] = {}
    for entry in entries:
        tries[entry.step] = tries.get(entry.step, 0) + (entry.state not in _FRAMELESS)
        if entry.state == "fired":
            done.add(entry.step)
    return [
        step
        for step in sweep.steps
        if step.index not in done and tries.get(step.index, 0) < TRIES_MOST
    ]
