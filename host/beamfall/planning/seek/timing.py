"""When the drops of a shot strike or come free on each of many rigs: as expected, or as the beam saw them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Self

from beamfall.arrays import Floats
from beamfall.planning.draws import Draws
from beamfall.planning.seek.answer import Shot


@dataclass(frozen=True)
class Timing:
    """When drop 1 strikes and later drops come free, since the first opening: arrays, one element a rig."""

    impact_s: Floats
    freed_s: tuple[Floats, ...]

    @classmethod
    def predict(cls, rigs: Draws, times_s: Sequence[float]) -> Self:
        """For openings since the first one."""
        later = enumerate(times_s[1:], 2)
        return cls(rigs.impact_s, tuple(at + rigs.drop(n).latency_s for n, at in later))

    @classmethod
    def read(cls, rigs: Draws, shot: Shot) -> Self:
        """Of a shot that was fired: by its own beam edges where they were seen."""
        freed = []
        for number, predicted in enumerate(cls.predict(rigs, shot.times_s).freed_s, 2):
            edge = shot.find_edge(number)
            freed.append(predicted if edge is None else edge - rigs.drop(number).to_edge_s)
        return cls(find_impact(rigs, shot), tuple(freed))


def find_impact(rigs: Draws, shot: Shot) -> Floats:
    """When drop 1 of a shot struck, since the first opening."""
    edge = shot.find_edge(1)
    if edge is None:
        return rigs.impact_s
    return edge - rigs.first.to_edge_s + rigs.first.to_surface_s
