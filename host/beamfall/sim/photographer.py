"""The photographer of a simulated rig, who looks at the simulated picture and describes it plainly."""

from __future__ import annotations

import random
from dataclasses import dataclass, field

from beamfall.link.traits import Seen
from beamfall.sim.collision import Picture

_READING_M = 0.001  # accuracy of heights read off a picture


@dataclass
class SimulatedPhotographer:
    """Gives a word for each picture; with `heights` also measures, sometimes a millimetre off."""

    seed: int = 0
    heights: bool = False
    _draws: random.Random = field(init=False)

    def __post_init__(self) -> None:
        self._draws = random.Random(f"{self.seed}/person")

    def look(self, picture: Picture | None) -> Seen:
        """Describe a picture; None is a black one."""
        if picture is None:
            return Seen("black")
        if not self.heights:
            return Seen(picture.shows)
        return Seen(picture.shows, self._measure(picture.jet_m), self._measure(picture.drop2_m))

    def _measure(self, height_m: float | None) -> float | None:
        if height_m is None:
            return None
        return max(0.0005, height_m + _READING_M * self._draws.gauss(0.0, 1.0))
