"""One surface of a computed splash."""

from __future__ import annotations

from typing import Any

import numpy as np

from beamfall.physics.computed import ComputedSplash


def read_surface(splash: ComputedSplash, time_s: float) -> tuple[float, list[Any]]:
    """The stored surface nearest to a time: its time, and its curves."""
    times, frames = splash.read_surfaces()
    nearest = int(np.argmin(np.abs(times - time_s)))
    return float(times[nearest]), frames[nearest]
