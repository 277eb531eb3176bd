"""The bench double: a second board that stands in for valves, drops, beams and flashes at the controller's pins.

It runs the ordinary firmware with a profile whose lines are turned round (firmware/bench_double/). Which drops fall,
and when, is worked out here by the simulation's physics before each shot and uploaded as the double's own table,
anchored at the controller's first valve opening: the answer itself is given by the double's hardware.
"""

from beamfall.board_tools.double.bench import Bench
from beamfall.board_tools.double.clocks import ClockRatio, measure_ratio
from beamfall.board_tools.double.self_test import SelfTest, test_wires
from beamfall.board_tools.double.wiring import WIRES, Wire, find_double_profile, list_wires

__all__ = [
    "WIRES",
    "Bench",
    "ClockRatio",
    "SelfTest",
    "Wire",
    "find_double_profile",
    "list_wires",
    "measure_ratio",
    "test_wires",
]
