"""Who answers for a simulated rig: sees what the simulated camera would show and says it plainly."""

from __future__ import annotations

import random
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from beamfall.planning.seek.answer import BLACK, Answer

if TYPE_CHECKING:
    from beamfall.sim.collision import Picture

_READING_M = 0.001  # heights are read off a picture to this


@dataclass
class SimulatedPerson:
    """Says a word of each picture; with `heights` also measures, a millimetre off now and then."""

    seed: int = 0
    heights: bool = False
    _draws: random.Random = field(init=False)

    def __post_init__(self) -> None:
        self._draws = random.Random(f"{self.seed}/person")

    def answer(self, picture: Picture | None) -> Answer:
        """What is said of a picture; None: a black one."""
        if picture is None:
            return Answer(BLACK)
        if not self.heights:
            return Answer(picture.shows)
        return Answer(picture.shows, self._measure(picture.jet_m), self._measure(picture.drop2_m))

    def _measure(self, height_m: float | None) -> float | None:
        if height_m is None:
            return None
        return max(0.0005, height_m + _READING_M * self._draws.gauss(0.0, 1.0))
