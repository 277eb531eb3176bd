"""What a calibration does to the plan, and how it is kept for the next one."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from beamfall.errors import BeamfallError
from beamfall.planning.learned import Learned, describe_basis, make_learned
from beamfall.planning.make import make_plan
from beamfall.planning.unknowns import NAMES, OF_THE_JET

if TYPE_CHECKING:
    from beamfall.planning.calibration.estimate import Calibration
    from beamfall.planning.result import Interval, Plan


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
    earlier: Learned | None = None,
) -> Learned:
    """Return what the planner is to know from now on.

    What `earlier` searches have shown of the jet stays, where it was for the same liquid and drop;
    beam edges say nothing about it.
    """
    model = calibration.model
    rig = model.samples[0].rig
    mean, covariance = np.zeros(len(NAMES)), np.eye(len(NAMES))
    if earlier is not None and earlier.basis.get("jet") == describe_basis(rig)["jet"]:
        fitted = earlier.fit(rig)
        if fitted is not None:
            jet = [NAMES.index(name) for name in OF_THE_JET]
            mean[jet] = fitted[0][jet]
            covariance[np.ix_(jet, jet)] = fitted[1][np.ix_(jet, jet)]
    names = [name for name in model.names if name in NAMES]
    there = [model.names.index(name) for name in names]
    here = [NAMES.index(name) for name in names]
    mean[here] = calibration.z_mean[there]
    covariance[np.ix_(here, here)] = calibration.z_covariance[np.ix_(there, there)]
    return make_learned(
        rig,
        mean,
        covariance,
        board=board,
        port=port,
        simulated=simulated,
        shots=len(calibration.shots),
    )


def compare_plans(
    calibration: Calibration, learned: Learned, earlier: Learned | None = None
) -> list[Effect]:
    """Return the plan's times before and after; none where the rig has no plan (no flash, no jet)."""
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
