"""Where the shot log lies; see `beamfall.places`."""

from __future__ import annotations

from beamfall.places import VARIABLE, find_log

__all__ = ["VARIABLE", "find_log"]
