"""Where the shot log lies."""

from __future__ import annotations

import os
from pathlib import Path

VARIABLE = "BEAMFALL_LOG"
_NAME = "shots.sqlite3"


def find_log() -> Path:
    """Return the path of the shot log: BEAMFALL_LOG where it is set, else the platform's data folder."""
    named = os.environ.get(VARIABLE, "").strip()
    if named:
        path = Path(named).expanduser()
        return path / _NAME if path.is_dir() else path
    import platformdirs

    return platformdirs.user_data_path("beamfall", appauthor=False) / _NAME
