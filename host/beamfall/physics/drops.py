"""The drop itself: its size, how it comes free, how long it darkens a beam, how it rings."""

from __future__ import annotations

import math
from dataclasses import dataclass

from beamfall.physics.gravity import STANDARD_GRAVITY
from beamfall.physics.liquids import WATER, Liquid
from beamfall.physics.ranges import check_range

# x = r/V^(1/3): the range of the drop-weight correction, and where Harkins & Brown's begins.
_X_LOW, _X_HARKINS_BROWN, _X_HIGH = 0.05, 0.3, 1.2
# Lee, Chan & Pogaku (2008), f as a polynomial in x from 0 to 1.2. From memory; it meets Harkins &
# Brown within 0.9 % from 0.3 to 1.2 and tends to Tate's f = 1 for a fine tip.
_FINE_TIP = (1.0, -0.9121, -2.109, 13.38, -27.29, 27.53, -13.58, 2.593)


def compute_volume(diameter_m: float) -> float:
    """Volume in m³ of a sphere of 0.1-20 mm diameter."""
    check_range("drop diameter", diameter_m, 1e-4, 0.02, "m")
    return math.pi / 6.0 * diameter_m**3


def compute_diameter(volume_m3: float) -> float:
    """Diameter in m of the sphere of a volume, 5e-13 to 4.2e-6 m³ (0.1-20 mm)."""
    check_range("drop volume", volume_m3, 5e-13, 4.2e-6, "m³")
    return float((6.0 * volume_m3 / math.pi) ** (1.0 / 3.0))


def orifice_flow(
    head_m: float, bore_m: float, *, discharge: float = 0.61, gravity: float = STANDARD_GRAVITY
) -> float:
    """Flow in m³/s through an open valve: Q = Cd·A·√(2gH) (Torricelli).

    `head_m` 0.005-2 m: under a Mariotte bottle the height of its air inlet above the nozzle,
    whatever the level of the liquid, as long as the inlet is covered. `bore_m` 0.2-10 mm.
    `discharge` Cd 0.3-1: about 0.6 sharp-edged, 0.8 short tube (from memory: calibrate on the
    rig; viscosity and a long narrow path lower it).
    """
    check_range("head", head_m, 0.005, 2.0, "m")
    check_range("bore", bore_m, 2e-4, 0.01, "m")
    check_range("discharge coefficient", discharge, 0.3, 1.0)
    return discharge * math.pi / 4.0 * bore_m**2 * math.sqrt(2.0 * gravity * head_m)


def valve_volume(flow_m3_s: float, opening_s: float, *, lag_s: float = 0.0) -> float:
    """Volume in m³ that passes while the valve is commanded open for `opening_s` (0-2 s).

    `lag_s` is how much later the valve opens than it closes: it shortens the true opening. The
    result is 0 when the valve never opens.
    """
    check_range("flow", flow_m3_s, 0.0, 1e-3, "m³/s")
    check_range("valve opening", opening_s, 0.0, 2.0, "s")
    check_range("valve lag", lag_s, -0.1, 0.1, "s")
    return flow_m3_s * max(0.0, opening_s - lag_s)


def dripping_volume(
    wetted_radius_m: float, liquid: Liquid = WATER, *, gravity: float = STANDARD_GRAVITY
) -> float:
    """Volume in m³ of the drop that falls from a slowly fed nozzle, wetted to a radius.

    Tate's law with the correction of Harkins & Brown (1919, J. Am. Chem. Soc. 41:499):
    ρgV = 2πrσ·f, f = 1/(2πF), F = 0.14782 + 0.27896x − 0.1662x², x = r/V^(1/3), 0.3 < x < 1.2;
    for finer tips, 0.05 < x < 0.3, f by Lee, Chan & Pogaku (2008, from memory).
    Raises PhysicsRangeError when the radius leads out of that range (for water below 0.08 mm or
    above 7.2 mm).
    """
    # x³·f grows with x, so radius and x belong together one to one.
    scale = liquid.surface_tension_n_m / (liquid.density_kg_m3 * gravity)
    low, high = (math.sqrt(scale * _pull(x)) for x in (_X_LOW, _X_HIGH))
    check_range("wetted radius", wetted_radius_m, low, high, "m")
    below, above = _X_LOW, _X_HIGH
    target = wetted_radius_m**2 / scale
    for _ in range(60):
        x = 0.5 * (below + above)
        if _pull(x) < target:
            below = x
        else:
            above = x
    return (wetted_radius_m / below) ** 3


def _pull(x: float) -> float:
    """2π·x³·f(x), which is r²ρg/σ."""
    if x >= _X_HARKINS_BROWN:
        return float(x**3 / (0.14782 + 0.27896 * x - 0.1662 * x * x))
    return 2.0 * math.pi * x**3 * sum(c * x**n for n, c in enumerate(_FINE_TIP))


@dataclass(frozen=True)
class DropRange:
    """Volumes in m³ of the smallest and the largest drop that drips from a nozzle."""

    smallest_m3: float
    largest_m3: float


def nozzle_drops(
    bore_m: float,
    outer_diameter_m: float,
    liquid: Liquid = WATER,
    *,
    gravity: float = STANDARD_GRAVITY,
) -> DropRange:
    """Smallest and largest drop a nozzle lets drip.

    The smallest hangs from the bore (a tip the liquid does not wet), the largest from the outer
    rim (a tip wetted all over); both by `dripping_volume`. A smaller one needs a head that throws
    the liquid off, a larger one a valve that stays open while it falls.
    """
    check_range("outer diameter", outer_diameter_m, bore_m, 0.02, "m")
    return DropRange(
        dripping_volume(0.5 * bore_m, liquid, gravity=gravity),
        dripping_volume(0.5 * outer_diameter_m, liquid, gravity=gravity),
    )


@dataclass(frozen=True)
class Detachment:
    """How a drop comes free: distance of its centre below the nozzle and speed at that moment.

    Each with a standard deviation; an estimate (see `estimate_detachment`).
    """

    length_m: float
    length_spread_m: float
    speed_m_s: float
    speed_spread_m_s: float


def estimate_detachment(diameter_m: float, *, gravity: float = STANDARD_GRAVITY) -> Detachment:
    """Where and how fast a dripping drop of 1-10 mm starts its fall: our estimate, no source.

    The neck breaks when the drop's centre hangs about one diameter below the nozzle (between 0.7
    and 1.5 in photographs of dripping taps). On the last half diameter the weight is only partly
    held, so the drop leaves with about √(g·D/2). Broad on purpose: 25 % and 50 %; the beam of the
    rig tells the truth, since both shift every drop by the same time.
    """
    check_range("drop diameter", diameter_m, 1e-3, 0.01, "m")
    speed = math.sqrt(0.5 * gravity * diameter_m)
    return Detachment(diameter_m, 0.25 * diameter_m, speed, 0.5 * speed)


def beam_dwell(
    diameter_m: float, speed_m_s: float, *, beam_width_m: float = 0.0, offset_m: float = 0.0
) -> float:
    """Time in s for which a drop darkens a beam: (√(D² − 4y²) + w)/v.

    `speed_m_s` is that of the drop as its centre passes; `offset_m` y is the distance of the
    fall line from the beam's axis, less than half the diameter. `beam_width_m` w is the height of
    the beam when any shadow counts; 0 for a sensor that switches at half shadow.
    Raises PhysicsRangeError, also for a drop that passes beside the beam.
    """
    check_range("drop speed", speed_m_s, 0.01, 30.0, "m/s")
    return (_chord(diameter_m, offset_m) + _checked_width(beam_width_m)) / speed_m_s


def diameter_from_dwell(
    dwell_s: float, speed_m_s: float, *, beam_width_m: float = 0.0, offset_m: float = 0.0
) -> float:
    """Diameter in m of the drop that darkened the beam for `dwell_s`: `beam_dwell` turned round.

    An unknown offset makes the drop look smaller than it is, never larger.
    Raises PhysicsRangeError when the beam alone accounts for the dwell.
    """
    check_range("drop speed", speed_m_s, 0.01, 30.0, "m/s")
    shortest = _checked_width(beam_width_m) / speed_m_s
    check_range("dwell", dwell_s, shortest, 1.0, "s")
    check_range("offset", abs(offset_m), 0.0, 0.01, "m")
    chord = dwell_s * speed_m_s - beam_width_m
    return math.hypot(chord, 2.0 * offset_m)


def _checked_width(beam_width_m: float) -> float:
    return check_range("beam width", beam_width_m, 0.0, 0.02, "m")


def _chord(diameter_m: float, offset_m: float) -> float:
    check_range("drop diameter", diameter_m, 1e-4, 0.02, "m")
    check_range("offset", abs(offset_m), 0.0, 0.5 * diameter_m, "m")
    return math.sqrt(diameter_m**2 - 4.0 * offset_m**2)


def oscillation_frequency(diameter_m: float, liquid: Liquid = WATER, *, mode: int = 2) -> float:
    """Frequency in Hz at which a free drop rings: √(n(n−1)(n+2)σ/(ρR³))/2π (Rayleigh 1879).

    Small amplitudes, low viscosity; `mode` n is 2-6, 2 being the change from long to flat.
    """
    check_range("mode", mode, 2, 6)
    radius = 0.5 * check_range("drop diameter", diameter_m, 1e-4, 0.02, "m")
    stiffness = liquid.surface_tension_n_m / (liquid.density_kg_m3 * radius**3)
    return math.sqrt(mode * (mode - 1) * (mode + 2) * stiffness) / (2.0 * math.pi)


def oscillation_damping_time(diameter_m: float, liquid: Liquid = WATER, *, mode: int = 2) -> float:
    """Time in s in which the ringing falls to 1/e: R²/((n−1)(2n+1)ν) (Lamb, Hydrodynamics, §355).

    For n = 2 this is R²/5ν. Low viscosity: Oh = μ/√(ρσD) below about 0.1.
    """
    check_range("mode", mode, 2, 6)
    radius = 0.5 * check_range("drop diameter", diameter_m, 1e-4, 0.02, "m")
    return radius**2 / ((mode - 1) * (2 * mode + 1) * liquid.kinematic_viscosity_m2_s)


@dataclass(frozen=True)
class DropShape:
    """Height over width of a falling drop: its mean, and between what it rings.

    `phase_cycles` is how many times it has rung since it came free; when that is many, the phase
    at a picture is luck unless the drops are made alike.
    """

    mean_ratio: float
    lowest_ratio: float
    highest_ratio: float
    phase_cycles: float


def estimate_shape(
    time_s: float,
    diameter_m: float,
    speed_m_s: float,
    liquid: Liquid = WATER,
    *,
    air_density_kg_m3: float = 1.2046,
    initial_amplitude: float = 0.2,
) -> DropShape:
    """Shape of a drop of 1-5.5 mm at `time_s` (0-2 s) after it came free, at a speed of 0-10 m/s.

    The mean is 1/(1 + 0.055·We) with the Weber number of the air: ours, within 0.025 of Beard &
    Chuang (1987, J. Atmos. Sci. 44:1509) at terminal speed from 1 to 5 mm. On it sits Rayleigh's
    second mode, R(θ) = R·(1 + ε·P2), damped by Lamb; its amplitude ε as the neck breaks is an
    estimate, 0.2 (range 0-0.4), no source.
    """
    check_range("time since the drop came free", time_s, 0.0, 2.0, "s")
    check_range("drop diameter", diameter_m, 1e-3, 5.5e-3, "m")
    check_range("drop speed", speed_m_s, 0.0, 10.0, "m/s")
    check_range("amplitude", initial_amplitude, 0.0, 0.4)
    check_range("air density", air_density_kg_m3, 0.5, 1.6, "kg/m³")
    weber = air_density_kg_m3 * speed_m_s**2 * diameter_m / liquid.surface_tension_n_m
    mean = 1.0 / (1.0 + 0.055 * weber)
    amplitude = initial_amplitude * math.exp(-time_s / oscillation_damping_time(diameter_m, liquid))
    # Along the axis P2 = 1, across it P2 = −1/2.
    return DropShape(
        mean,
        mean * (1.0 - amplitude) / (1.0 + 0.5 * amplitude),
        mean * (1.0 + amplitude) / (1.0 - 0.5 * amplitude),
        time_s * oscillation_frequency(diameter_m, liquid),
    )
