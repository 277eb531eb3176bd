"""Values outside the range of a formula are refused with the quantity, its value and the range that would do."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import pytest
from out_of_range import ANY, Bounds, refuses

from beamfall.physics.drops import (
    compute_diameter,
    compute_volume,
    dripping_volume,
    nozzle_drops,
    valve_flow,
    valve_volume,
)
from beamfall.physics.impact import bubble_band, classify_impact, impact_groups
from beamfall.physics.light import (
    airy_diameter,
    blur_on_sensor,
    estimate_flash_duration,
    judge_blur,
)
from beamfall.physics.liquids import WATER, Liquid, glycerol_water, milk, mix_by_parts, water


@pytest.mark.parametrize(
    ("call", "quantity", "found", "bounds"),
    [
        (lambda: water(20.0), "water temperature", 20, (273.16, 372)),
        (lambda: glycerol_water(40.0), "glycerol mass fraction", 40, (0, 1)),
        (lambda: glycerol_water(0.4, 333.15), "glycerol mixture temperature", 333.15, ANY),
        (lambda: milk(278.15), "milk temperature", 278.15, ANY),
        (lambda: Liquid("x", 1.0, 1e-3, 0.07), "liquid density", 1, ANY),
        (lambda: Liquid("x", 998.0, 1.0016e-6, 0.07), "liquid viscosity", 1.0016e-06, ANY),
        (lambda: Liquid("x", 998.0, 1e-3, 72.0), "surface tension", 72, ANY),
        (lambda: Liquid("x", 998.0, 1e-3, 0.07, flow_index=3.0), "flow index", 3, ANY),
        (
            lambda: Liquid("x", 998.0, 1e-3, 0.07, unknown=frozenset({"taste"})),
            "unknown",
            ("taste",),
            ANY,
        ),
        (lambda: replace(WATER, flow_index=0.4).viscosity_at(1e9), "shear rate", 1e09, ANY),
        (lambda: mix_by_parts({"wine": 1}), "ingredient", "wine", ANY),
        (lambda: mix_by_parts({"water": -1}), "parts of water", -1, ANY),
        (lambda: mix_by_parts({"gum": 1}), "parts", 0, ANY),
        (lambda: compute_volume(4.0), "drop diameter", 4, (0.0001, 0.02)),
        (lambda: compute_diameter(0.0), "drop volume", 0, ANY),
        (lambda: valve_flow(10.0, 2e-3, 0.02), "head", 10, (0.005, 2)),
        (lambda: valve_flow(0.1, 2.0, 0.02), "bore", 2, ANY),
        (lambda: valve_flow(0.1, 2e-3, 20.0), "length of the bore", 20, ANY),
        (lambda: valve_flow(0.1, 2e-3, 0.02, discharge=1.4), "discharge coefficient", 1.4, ANY),
        (lambda: valve_volume(valve_flow(0.1, 2e-3, 0.02), 12.5), "valve opening", 12.5, ANY),
        (lambda: dripping_volume(0.02), "wetted radius", 0.02, (None, 0.00726)),
        (lambda: nozzle_drops(4e-3, 2e-3), "outer diameter", 0.002, (0.004, None)),
        (lambda: impact_groups(4.0, 3.3), "drop diameter", 4, ANY),
        (lambda: impact_groups(4e-3, 0.0), "impact speed", 0, (0.05, 10)),
        (lambda: impact_groups(4e-3, 3.3, gravity=1.6), "gravity", 1.6, ANY),
        (lambda: bubble_band(5.0), "Froude number", 5, (20, 1000)),
        (lambda: classify_impact(impact_groups(4e-3, 3.3), 0.0), "depth of liquid", 0, ANY),
        (lambda: blur_on_sensor(3.3, 50.0, 1.0), "flash duration", 50, (1e-06, 0.1)),
        (lambda: blur_on_sensor(-1.0, 5e-5, 1.0), "speed", -1, ANY),
        (lambda: judge_blur(3.3, 5e-5, 1.0, 4.0, 16.0), "pixel", 4, (1e-06, 5e-05)),
        (lambda: estimate_flash_duration(64.0), "flash power", 64, (0.00390625, 1)),
        (lambda: airy_diameter(0.0, 1.0), "f-number", 0, ANY),
    ],
)
def test_values_out_of_range_are_refused(
    call: Callable[[], object], quantity: str, found: object, bounds: Bounds
) -> None:
    with refuses(quantity, found, bounds):
        call()
