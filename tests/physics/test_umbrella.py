"""The umbrella spreads at the speed of the impact at first, is stopped by surface tension, and tells its age."""

from __future__ import annotations

import pytest

from beamfall.physics.liquids import WATER, Liquid, with_surfactant
from beamfall.physics.umbrella import SPEED_SHARE, spreading_time, umbrella_age, umbrella_radius

D, U = 0.0046, 3.0


def test_it_starts_at_the_speed_of_the_impact_and_comes_to_rest() -> None:
    first = (umbrella_radius(1e-5, D, U) - umbrella_radius(0.0, D, U)) / 1e-5
    assert first == pytest.approx(SPEED_SHARE * U, rel=0.01)
    late = (umbrella_radius(0.1, D, U) - umbrella_radius(0.09, D, U)) / 0.01
    assert late == pytest.approx(0.0, abs=1e-3)
    assert umbrella_radius(-0.001, D, U) == umbrella_radius(0.0, D, U)


def test_less_surface_tension_lets_it_spread_further() -> None:
    soapy = with_surfactant(WATER)
    assert spreading_time(D, soapy) > 1.4 * spreading_time(D)
    assert umbrella_radius(0.01, D, U, soapy) > umbrella_radius(0.01, D, U)


@pytest.mark.parametrize("age_ms", [0.0, 0.5, 2.0, 5.0, 9.0])
def test_its_radius_tells_its_age(age_ms: float) -> None:
    found = umbrella_age(umbrella_radius(age_ms * 1e-3, D, U), D, U)
    assert found is not None
    assert found[0] == pytest.approx(age_ms * 1e-3, abs=1e-9)


def test_the_error_of_the_age_covers_other_rigs() -> None:
    for age_s in (0.001, 0.004, 0.008):
        for speed, time in ((1.05, 1.0), (0.95, 1.0), (1.0, 1.08), (1.0, 0.92)):
            radius = umbrella_radius(age_s, D, U, speed_factor=speed, time_factor=time)
            age, error = umbrella_age(radius, D, U) or (0.0, 0.0)
            assert abs(age - age_s) < 1.6 * error


def test_a_sheet_that_has_stopped_tells_no_age() -> None:
    assert umbrella_age(umbrella_radius(0.1, D, U), D, U) is None


# Rims of computed umbrellas (Basilisk, level 9, runs c03s50, c10s75, c04s75, c11s60): drop in mm, meeting speed in m/s,
# mPa·s, mN/m; radius in mm after 1.7, 3.7 and 4.7 ms.
COMPUTED = [
    (4.255, 3.77, 1.15, 72.4, (4.96, 6.61, 7.49)),
    (3.689, 3.51, 2.14, 38.7, (4.49, 7.06, 7.66)),
    (4.490, 4.56, 1.91, 66.9, (6.33, 8.52, 10.58)),
    (4.575, 3.15, 19.3, 59.5, (4.01, 5.99, 6.74)),
]


@pytest.mark.parametrize(("drop_mm", "speed", "viscosity", "tension", "rims_mm"), COMPUTED)
def test_computed_umbrellas_are_as_wide(drop_mm, speed, viscosity, tension, rims_mm) -> None:
    liquid = Liquid("computed", 998.0, viscosity * 1e-3, tension * 1e-3)
    for age_ms, rim in zip((1.73, 3.73, 4.73), rims_mm, strict=True):
        radius = umbrella_radius(age_ms * 1e-3, drop_mm * 1e-3, speed, liquid)
        assert radius * 1e3 == pytest.approx(rim, rel=0.25)  # two spreads between runs
