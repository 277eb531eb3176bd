"""Density and viscosity of still, dry air."""

from __future__ import annotations

import math
from dataclasses import dataclass

from beamfall.physics.ranges import check_range

# ISO 2533 (the standard atmosphere): sea-level temperature, lapse rate, exponent g·M/(R·L).
_STANDARD_TEMPERATURE_K = 288.15
_LAPSE_K_PER_M = 0.0065
_PRESSURE_EXPONENT = 5.25588

# CIPM-2007 (Picard et al. 2008, Metrologia 45:149), eq. 2 for dry air with 400 µmol/mol of CO2.
_CIPM_FACTOR = 3.483740e-3
_CIPM_A0, _CIPM_A1, _CIPM_A2, _CIPM_D = 1.58123e-6, -2.9331e-8, 1.1043e-10, 1.83e-11

# Sutherland's constant of air 110.4 K (US Standard Atmosphere 1976), anchored at 20 °C on the
# value of Lemmon & Jacobsen (2004, Int. J. Thermophysics 25:21), 0.4 % above that atmosphere's.
_SUTHERLAND_K = 110.4
_ANCHOR_TEMPERATURE_K = 293.15
_ANCHOR_VISCOSITY_PA_S = 1.82057e-5


@dataclass(frozen=True)
class Air:
    """Still air around a falling drop: density in kg/m³ and dynamic viscosity in Pa·s.

    Raises PhysicsRangeError outside 0.5-1.6 kg/m³ or 1.4e-5-2.2e-5 Pa·s.
    """

    density_kg_m3: float
    viscosity_pa_s: float

    def __post_init__(self) -> None:
        check_range("air density", self.density_kg_m3, 0.5, 1.6, "kg/m³")
        check_range("air viscosity", self.viscosity_pa_s, 1.4e-5, 2.2e-5, "Pa·s")


def air_at(
    temperature_k: float = 293.15, pressure_pa: float = 101325.0, altitude_m: float = 0.0
) -> Air:
    """Dry air at a temperature and at a height above sea level.

    `pressure_pa` is the pressure reduced to sea level, as weather reports give it; at altitude 0
    it is the pressure itself. The fall of pressure with height is that of the standard atmosphere
    (ISO 2533), the density CIPM-2007 for dry air (humid air is up to 1 % lighter, which moves a
    1 m fall of a 4 mm drop by less than 0.1 ms), the viscosity Sutherland's law.
    Raises PhysicsRangeError outside 253.15-323.15 K, 60-110 kPa, -430 to 5,000 m.
    """
    check_range("air temperature", temperature_k, 253.15, 323.15, "K")
    check_range("air pressure", pressure_pa, 60e3, 110e3, "Pa")
    check_range("altitude", altitude_m, -430.0, 5000.0, "m")
    ratio = 1.0 - _LAPSE_K_PER_M * altitude_m / _STANDARD_TEMPERATURE_K
    pressure = pressure_pa * ratio**_PRESSURE_EXPONENT
    celsius = temperature_k - 273.15
    p_over_t = pressure / temperature_k
    compressibility = (
        1.0
        - p_over_t * (_CIPM_A0 + _CIPM_A1 * celsius + _CIPM_A2 * celsius**2)
        + p_over_t**2 * _CIPM_D
    )
    density = _CIPM_FACTOR * p_over_t / compressibility
    viscosity = (
        _ANCHOR_VISCOSITY_PA_S
        * math.pow(temperature_k / _ANCHOR_TEMPERATURE_K, 1.5)
        * (_ANCHOR_TEMPERATURE_K + _SUTHERLAND_K)
        / (temperature_k + _SUTHERLAND_K)
    )
    return Air(density, viscosity)
