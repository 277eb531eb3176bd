"""The bench double: a second board that stands in for valves, drops, beams and flashes at the controller's pins.

It runs the ordinary firmware with a profile that swaps inputs and outputs (firmware/bench_double/). Before each shot
the simulation's physics calculates here which drops fall, and when. They are uploaded as the double's own table,
anchored to the controller's first valve opening, so the double's hardware gives the response itself.
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
