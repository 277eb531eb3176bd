"""Finds from beam edges what the rig file only estimates: latency, distance, speed, diameter.

measure    what the drops did, out of the shot log
model      what a rig would do, as a function of its unknowns
estimate   the unknowns from the drops, with their errors; what the edges cannot tell
describe   what was found, in words
effect     what that does to the plan
"""

from __future__ import annotations

from beamfall.planning.calibration.estimate import Calibration, calibrate
from beamfall.planning.calibration.measure import Sample, measure_drops

__all__ = ["Calibration", "Sample", "calibrate", "measure_drops"]
