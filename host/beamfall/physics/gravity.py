"""Local acceleration of free fall."""

from __future__ import annotations

import math

from beamfall.physics.ranges import check_range

#: Standard acceleration of free fall, m/s² (3rd CGPM, 1901; ISO 80000-3).
STANDARD_GRAVITY = 9.80665


def local_gravity(latitude_deg: float, altitude_m: float = 0.0) -> float:
    """Acceleration of free fall in m/s² at a latitude and a height above sea level.

    Geodetic Reference System 1967 form of Helmert's formula with the free-air correction:
    9.780327·(1 + 0.0053024·sin²φ − 0.0000058·sin²2φ) − 3.086e-6·altitude. Local anomalies reach
    some 1e-3 m/s², 0.02 ms over a fall of 0.5 m.
    Raises PhysicsRangeError outside -90 to 90° or -430 to 9,000 m.
    """
    check_range("latitude", latitude_deg, -90.0, 90.0, "°")
    check_range("altitude", altitude_m, -430.0, 9000.0, "m")
    phi = math.radians(latitude_deg)
    at_sea_level = 9.780327 * (
        1.0 + 0.0053024 * math.sin(phi) ** 2 - 0.0000058 * math.sin(2.0 * phi) ** 2
    )
    return at_sea_level - 3.086e-6 * altitude_m
