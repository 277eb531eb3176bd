"""Where a drop of a shot would be at the light, had it met nothing on its way: worked out from its beam edge."""

from __future__ import annotations

import math
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class ExpectedDrop:
    """A drop at the light, in SI units, as if neither jet nor surface had stopped it.

    `height_m`: of its lowest point above the surface, negative where it would be below. `rig_error_m`: the standard
    error that all shots of a rig share, since it comes from the measured heights of beam and nozzle; `shot_error_m`:
    the rest, which differs from shot to shot. `speed_m_s`: downwards, at the light. `jet_after_s`: how long after its
    impact the jet of such a drop begins, with its standard error; `calm_after_s`: the same of its jet's end. None if
    nobody knows.
    """

    height_m: float
    rig_error_m: float
    shot_error_m: float
    speed_m_s: float
    jet_after_s: tuple[float, float] | None = None
    calm_after_s: tuple[float, float] | None = None

    @property
    def error_m(self) -> float:
        """Standard error of the height where the rig's own error is not known better from other pictures."""
        return math.hypot(self.rig_error_m, self.shot_error_m)
