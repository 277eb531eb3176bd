"""Where Beamfall keeps what belongs to its user: the shot log, and beside it what is known of boards."""

from __future__ import annotations

import os
from pathlib import Path

VARIABLE = "BEAMFALL_LOG"
# A file to write what goes over ports to; as `beamfall --trace FILE`.
TRACE_VARIABLE = "BEAMFALL_TRACE"
VERBOSE_VARIABLE = "BEAMFALL_VERBOSE"  # not empty: print it; as `beamfall --verbose`
_NAME = "shots.sqlite3"


def find_log() -> Path:
    """Return the path of the shot log: BEAMFALL_LOG where it is set, else the platform's data folder."""
    named = os.environ.get(VARIABLE, "").strip()
    if named:
        path = Path(named).expanduser()
        return path / _NAME if path.is_dir() else path
    import platformdirs

    return platformdirs.user_data_path("beamfall", appauthor=False) / _NAME


def find_boards_folder() -> Path:
    """Return the folder of what installing boards has shown of them; it may not be there yet."""
    return find_log().parent / "boards"
