"""What a calibration does to the plan, and how it is kept for the next one."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from beamfall.errors import BeamfallError
from beamfall.planning.belief import Belief
from beamfall.planning.make import make_plan
from beamfall.planning.result import Interval, Plan
from beamfall.planning.unknowns import NAMES, Normal

if TYPE_CHECKING:
    from beamfall.planning.calibration.estimate import Calibration


@dataclass(frozen=True)
class Effect:
    """One time of the plan before and after: 5, 50 and 95 % in s."""

    name: str
    before: tuple[float, float, float]
    after: tuple[float, float, float]

    def to_json(self) -> dict[str, list[float]]:
        """Plain values, ms."""
        return {
            "before_ms": [round(1e3 * value, 3) for value in self.before],
            "after_ms": [round(1e3 * value, 3) for value in self.after],
        }


def keep_for_plan(
    calibration: Calibration,
    *,
    board: str,
    port: str,
    simulated: bool,
    earlier: Belief | None = None,
    series: tuple[int, ...] = (),
) -> Belief:
    """Return what the planner knows from now on: what was known, narrowed by this calibration."""
    model = calibration.model
    names = tuple(name for name in model.names if name in NAMES)
    there = [model.names.index(name) for name in names]
    alone = Normal.of(
        names, calibration.z_mean[there], calibration.z_covariance[np.ix_(there, there)]
    )
    known = earlier or Belief(board, port, simulated)
    return replace(known, port=port).add_calibration(
        model.samples[0].rig, alone, used=calibration.shots, series=series
    )


def compare_plans(
    calibration: Calibration, learned: Belief, earlier: Belief | None = None
) -> list[Effect]:
    """Return the plan's times before and after; none if the rig has no plan (no flash, no jet)."""
    rig = calibration.model.samples[0].rig
    try:
        before: Plan = make_plan(rig, learned=earlier)
        after: Plan = make_plan(rig, learned=learned)
    except BeamfallError:
        return []
    return [
        Effect(name, _take(before.intervals, name), _take(after.intervals, name))
        for name in after.intervals
        if name in before.intervals
    ]


def _take(intervals: Mapping[str, Interval], name: str) -> tuple[float, float, float]:
    interval = intervals[name]
    return interval.p5, interval.p50, interval.p95
