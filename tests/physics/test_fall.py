"""The fall of a drop against published speeds and independent integrations."""

from __future__ import annotations

import math

import numpy as np
import pytest
from beamfall.errors import PhysicsRangeError
from beamfall.physics.air import Air
from beamfall.physics.fall import fall, fall_array, terminal_speed
from beamfall.physics.gravity import local_gravity

# CIPM-2007 dry air and Lemmon & Jacobsen viscosity at 20 °C, 101,325 Pa
AIR = Air(1.20458, 1.82057e-5)


# Gunn & Kinzer 1949, J. Meteorology 6:243 (second-hand): mm -> m/s. Their 1 mm drops fall 1.6 %
# faster than the sphere law of fluids 1.3.1; a drop that only flattens cannot follow them there.
@pytest.mark.parametrize(
    ("diameter_mm", "speed_m_s", "tolerance"),
    [(1, 4.03, 0.025), (2, 6.49, 0.006), (3, 8.06, 0.006), (4, 8.83, 0.006), (5, 9.09, 0.006)],
)
def test_terminal_speed_meets_gunn_and_kinzer(
    diameter_mm: float, speed_m_s: float, tolerance: float
) -> None:
    assert terminal_speed(diameter_mm * 1e-3, air=AIR) == pytest.approx(speed_m_s, rel=tolerance)


@pytest.mark.parametrize("height_m", [0.1, 0.2, 0.3, 0.5, 0.7, 1.0])
def test_4_mm_lies_within_0_3_ms_of_the_closed_form(height_m: float) -> None:
    # constant drag coefficient at Gunn & Kinzer's 8.83 m/s: t = vt/g'·arcosh(exp(g'h/vt²))
    reduced = 9.80665 * (1 - 1.20458 / 998.207)
    closed = 8.83 / reduced * math.acosh(math.exp(reduced * height_m / 8.83**2))
    assert fall(height_m, 4e-3, air=AIR).time_s == pytest.approx(closed, abs=0.3e-3)


def test_gravity_at_45_degrees() -> None:
    # Helmert / GRS 1967: 9.806200 m/s² at 45°, sea level
    assert local_gravity(45.0, 0.0) == pytest.approx(9.806200, abs=1e-6)


def test_a_drop_outside_1_to_5_5_mm_is_refused_by_name() -> None:
    with pytest.raises(PhysicsRangeError, match=r"drop diameter = 0\.006 m .* 0\.001 and 0\.0055"):
        fall(0.5, 6e-3)


def test_arrays_agree_with_single_falls() -> None:
    rng = np.random.default_rng(11)
    heights, diameters = rng.uniform(0.0, 1.2, 400), rng.uniform(1e-3, 5.5e-3, 400)
    starts = np.where(rng.random(400) < 0.3, 0.0, rng.uniform(0.0, 2.0, 400))
    # a soapy, denser liquid in thin mountain air, so that every condition matters
    conditions = {
        "liquid_density_kg_m3": 1150.0,
        "surface_tension_n_m": 0.035,
        "air": Air(0.95, 1.78e-5),
        "gravity": 9.79,
    }
    many = fall_array(heights, diameters, initial_speed_m_s=starts, **conditions)
    for i in range(400):
        one = fall(heights[i], diameters[i], initial_speed_m_s=starts[i], **conditions)
        assert many.time_s[i] == pytest.approx(one.time_s, abs=4e-6)
        assert many.speed_m_s[i] == pytest.approx(one.speed_m_s, abs=1e-4)
