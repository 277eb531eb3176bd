"""A simulated board served over a socket is shared with the shot log's tests."""

from __future__ import annotations

import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1] / "shots"))
