"""The fall of a drop in thousands of rigs at once: when it is where, and when a beam sees it."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from beamfall.arrays import Floats
from beamfall.physics.fall_table import DropFalls
from beamfall.planning.setting import Setting

_LEAST_FALL_M = 1e-4  # a beam above where the drop comes free sees it at once


@dataclass(frozen=True)
class FallingDrop:
    """One drop, or all drops of one valve, an element a rig. Times count from its coming free."""

    setting: Setting
    latency_s: Floats  # opening to coming free
    diameter_m: Floats
    start_height_m: Floats  # of the centre
    start_speed_m_s: Floats

    def reach(self, centre_height_m: Floats) -> tuple[Floats, Floats]:
        """Time until its centre is at a height, and its speed there."""
        distance = np.maximum(self.start_height_m - centre_height_m, _LEAST_FALL_M)
        result = self._falls.fall(distance)
        return result.time_s, result.speed_m_s

    def reach_lowest(self, height_m: Floats) -> tuple[Floats, Floats]:
        """The same for the drop's lowest point."""
        return self.reach(height_m + 0.5 * self.diameter_m)

    def cross(
        self, beam_height_m: Floats, width_m: Floats, offset_m: float
    ) -> tuple[Floats, Floats]:
        """When a beam of this width goes dark, and when it is clear again."""
        chord = np.sqrt(np.maximum(self.diameter_m**2 - 4.0 * offset_m**2, 0.0))
        half = 0.5 * (chord + width_m)
        return self.reach(beam_height_m + half)[0], self.reach(beam_height_m - half)[0]

    def make_falls(self, start_speed_m_s: Floats) -> DropFalls:
        """The falls of such drops with a first speed."""
        return DropFalls(self.diameter_m, start_speed_m_s, self.setting.conditions)

    @cached_property
    def _falls(self) -> DropFalls:
        return self.make_falls(self.start_speed_m_s)
