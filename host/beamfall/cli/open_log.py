"""How commands open the shot log."""

from __future__ import annotations

import sys

from beamfall.errors import NoSuchShot
from beamfall.shots import ShotLog, find_log
from beamfall.text import show_text

NOTHING_YET = (
    "no shot has been logged yet; the log will be {path}; fire one: beamfall shoot --port sim"
)


def open_log(*, to_write: bool = False) -> ShotLog:
    """Open the log that there is; raises NoSuchShot if no shot has been logged yet."""
    path = find_log()
    if not path.exists():
        raise NoSuchShot(NOTHING_YET.format(path=path))
    log = ShotLog.open(path, read_only=not to_write)
    log.on_damage = warn
    return log


def warn(text: str) -> None:
    """Name what is damaged and left out, beside what is printed."""
    print(f"beamfall: {show_text(text)}", file=sys.stderr)


def choose_series(log: ShotLog, series: int | None) -> int:
    """Return the series that was named, or the newest; raises NoSuchShot if it is not in the log."""
    chosen = log.choose_series(series)
    if chosen is None:
        raise NoSuchShot(NOTHING_YET.format(path=log.path))
    return chosen
