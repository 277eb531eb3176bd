"""Air and gravity against standards and an independent library."""

from __future__ import annotations

import math

import fluids
import pytest
from out_of_range import refuses

from beamfall.physics.air import Air, air_at
from beamfall.physics.gravity import STANDARD_GRAVITY, local_gravity


def test_room_air_has_the_density_of_cipm_2007() -> None:
    # CIPM-2007 dry air, 400 ppm CO2, 20 °C, 101,325 Pa: 1.2046 kg/m³ (references: 1.20458)
    assert air_at().density_kg_m3 == pytest.approx(1.20458, rel=5e-5)


def test_room_air_has_the_viscosity_of_lemmon_and_jacobsen() -> None:
    # Lemmon & Jacobsen 2004: 1.82057e-5 Pa·s at 20 °C
    assert air_at().viscosity_pa_s == pytest.approx(1.82057e-5, rel=1e-6)


def test_viscosity_at_300_k() -> None:
    # 18.54 µPa·s at 300 K, 0.1 MPa (Lemmon & Jacobsen 2004, table V; from memory), within 0.2 %
    assert air_at(300.0).viscosity_pa_s == pytest.approx(18.54e-6, rel=2e-3)


def test_viscosity_grows_with_temperature_by_sutherland() -> None:
    # fluids 1.3.1, ATMOSPHERE_1976.viscosity (Sutherland, 110.4 K): 0 to 40 °C
    viscosity = fluids.ATMOSPHERE_1976.viscosity
    ours = air_at(313.15).viscosity_pa_s / air_at(273.15).viscosity_pa_s
    assert ours == pytest.approx(viscosity(313.15) / viscosity(273.15), rel=1e-5)


def test_sea_level_of_the_standard_atmosphere() -> None:
    # ISO 2533: 1.225 kg/m³ at 288.15 K and 101,325 Pa
    assert air_at(288.15).density_kg_m3 == pytest.approx(1.225, rel=5e-4)


@pytest.mark.parametrize("altitude_m", [0.0, 500.0, 1500.0, 3000.0])
def test_density_falls_with_altitude_as_in_the_standard_atmosphere(altitude_m: float) -> None:
    # fluids 1.3.1, ATMOSPHERE_1976 (ideal gas, geometric altitude)
    standard = fluids.ATMOSPHERE_1976(altitude_m)
    ours = air_at(standard.T, altitude_m=altitude_m)
    assert ours.density_kg_m3 == pytest.approx(standard.rho, rel=1.5e-3)
    assert ours.viscosity_pa_s == pytest.approx(standard.mu, rel=6e-3)


def test_standard_gravity() -> None:
    # 3rd CGPM 1901
    assert STANDARD_GRAVITY == 9.80665


@pytest.mark.parametrize(
    ("latitude_deg", "expected"),
    [
        (0.0, 9.7803267715),  # GRS 1980 normal gravity at the equator (Moritz 1980)
        (45.0, 9.806199203),  # GRS 1980 at 45°
        (90.0, 9.8321863685),  # GRS 1980 at the pole
        (-45.0, 9.806199203),  # symmetric about the equator
    ],
)
def test_gravity_meets_the_geodetic_reference_system(latitude_deg: float, expected: float) -> None:
    assert local_gravity(latitude_deg, 0.0) == pytest.approx(expected, abs=2e-6)


def test_gravity_falls_with_height_as_in_fluids() -> None:
    # fluids 1.3.1 `gravity` (an older equatorial constant: 3e-5 apart)
    assert local_gravity(55.0, 1200.0) == pytest.approx(fluids.gravity(55.0, 1200.0), abs=1e-4)


def test_bad_surroundings_are_refused_with_key_value_and_range() -> None:
    with refuses("air temperature", 20.0, (253.15, 323.15)):
        air_at(20.0)  # Celsius given for kelvin
    with refuses("air pressure", 1013.0):
        air_at(293.15, 1013.0)  # hectopascal given for pascal
    with refuses("latitude", 95.0):
        local_gravity(95.0)
    with refuses("altitude", math.nan):
        local_gravity(45.0, math.nan)
    with refuses("air density", 1204.0):
        Air(1204.0, 1.8e-5)
