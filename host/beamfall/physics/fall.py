"""Time and speed of a drop that falls through still air and flattens as it gains speed.

The equation of motion is dv/dt = g(1 − ρa/ρl) − (3/4)(ρa/ρl)·Cd·v²/D with

    Cd = Cd_sphere(Re) · (1 + 0.040·We + 0.00116·We³),   Re = ρa·v·D/µa,   We = ρa·v²·D/σ.

Cd_sphere is the drag of a smooth sphere by Barati, Neyshabouri & Ahmadi (2014, Powder Technology
257:11). The second factor is ours: a drop flattens with the Weber number of the air, and the two
coefficients make the terminal speed meet the measurements of Gunn & Kinzer (1949, J. Meteorology
6:243) within 0.6 % from 1.6 to 5.5 mm. Below, their drops fall faster than spheres do (by 1.6 %
at 1 mm), and this law, which never falls below sphere drag, is slow by 1.1 % at 1.4 mm and 2.2 %
at 1 mm.

The falls of a photographer are far from terminal: over 0.1-1.0 m this law stays within 0.25 ms of
integrated sphere drag from 1 to 5.5 mm. What it leaves out: the ringing of the drop after it
leaves the nozzle, draughts, and the wake of a drop that fell shortly before.

The path is followed in s = √(height): v(s) is smooth even at rest, where time as a function of
height is not. An initial speed only shifts the start of the path by the height that gives it.
"""

from __future__ import annotations

import math
from typing import NamedTuple

from beamfall.errors import PhysicsRangeError
from beamfall.physics.air import Air, air_at
from beamfall.physics.drag import drag_coefficient
from beamfall.physics.gravity import STANDARD_GRAVITY
from beamfall.physics.ranges import check_range, make_range_error

WATER_DENSITY_KG_M3 = 998.207  # IAPWS-95, 20 °C, 0.101325 MPa
WATER_SURFACE_TENSION_N_M = 0.072736  # IAPWS R1-76(2014), 20 °C
ROOM_AIR = air_at()

MIN_DIAMETER_M, MAX_DIAMETER_M = 1.0e-3, 5.5e-3
MAX_HEIGHT_M = 5.0
MAX_INITIAL_SPEED_M_S = 2.0
MAX_WEBER = 8.0  # the largest drops of Gunn & Kinzer at terminal speed

_AT_REST_M_S = 1e-6  # slower than this is rest: it moves time by 0.1 µs
_STEPS_PER_ROOT_M = 11  # keeps time within 3 µs at 1 mm, 0.1 µs at 4 mm, over 1 m (measured)


class Conditions(NamedTuple):
    """Liquid and air of a fall, and gravity; SI units."""

    liquid_density_kg_m3: float = WATER_DENSITY_KG_M3
    surface_tension_n_m: float = WATER_SURFACE_TENSION_N_M
    air: Air = ROOM_AIR
    gravity: float = STANDARD_GRAVITY

    def check(self) -> None:
        """Raise PhysicsRangeError when one of them is out of range."""
        check_range("liquid density", self.liquid_density_kg_m3, 600.0, 2000.0, "kg/m³")
        check_range("surface tension", self.surface_tension_n_m, 0.015, 0.090, "N/m")
        check_range("gravity", self.gravity, 9.7, 9.9, "m/s²")

    def move(self, diameter_m: float) -> tuple[float, float, float, float]:
        """The numbers of a drop's equation of motion: g(1 − ρa/ρl), (3/4)(ρa/ρl)/D, Re/v and We/v²."""
        air = self.air
        density_ratio = air.density_kg_m3 / self.liquid_density_kg_m3
        return (
            self.gravity * (1.0 - density_ratio),
            0.75 * density_ratio / diameter_m,
            air.density_kg_m3 * diameter_m / air.viscosity_pa_s,
            air.density_kg_m3 * diameter_m / self.surface_tension_n_m,
        )


WATER_IN_A_ROOM = Conditions()


class FallResult(NamedTuple):
    """Time in s since the start of the fall and speed in m/s at its end."""

    time_s: float
    speed_m_s: float


def refuse_flattening(weber: float) -> PhysicsRangeError:
    """The error for a drop that would flatten beyond the measurements."""
    return make_range_error(
        "Weber number of the air at the drop", weber, 0.0, MAX_WEBER,
        more=": such a flat drop is about to break up; use a smaller drop or a shorter fall",
    )  # fmt: skip


def fall(
    height_m: float,
    diameter_m: float,
    conditions: Conditions = WATER_IN_A_ROOM,
    *,
    initial_speed_m_s: float = 0.0,
) -> FallResult:
    """Time and speed of one drop after it has fallen `height_m` from where it came free.

    Height 0-5 m, diameter (of the sphere of equal volume) 1-5.5 mm, initial speed downwards
    0-2 m/s. Plain arithmetic, some 20 µs. Model and accuracy: see the head of this module.
    Raises PhysicsRangeError outside these ranges, or when the drop would flatten beyond the
    measurements (Weber number of the air above 8, possible with a low surface tension).
    """
    check_range("fall height", height_m, 0.0, MAX_HEIGHT_M, "m")
    check_range("initial speed", initial_speed_m_s, 0.0, MAX_INITIAL_SPEED_M_S, "m/s")
    check_range("drop diameter", diameter_m, MIN_DIAMETER_M, MAX_DIAMETER_M, "m")
    conditions.check()
    if height_m == 0.0:
        return FallResult(0.0, initial_speed_m_s)
    if initial_speed_m_s < _AT_REST_M_S:
        initial_speed_m_s = 0.0

    drive, drag, reynolds_per_speed, weber_per_speed2 = conditions.move(diameter_m)
    coefficient = drag_coefficient

    # s² counts height from where a drop without drag would have started at rest.
    start = initial_speed_m_s * initial_speed_m_s / (2.0 * drive)
    s = math.sqrt(start)
    end = math.sqrt(start + height_m)
    span = end - s
    steps = max(4, math.ceil(span * _STEPS_PER_ROOT_M))
    first = s
    v, time = initial_speed_m_s, 0.0

    def slope(s: float, v: float) -> float:
        v2 = v * v
        pull = drive - drag * coefficient(reynolds_per_speed * v, weber_per_speed2 * v2) * v2
        return float(2.0 * s * pull / v)

    at_rest = math.sqrt(2.0 * drive)  # dv/ds where s = 0: drag plays no part yet
    # Runge-Kutta of fourth order on dv/ds = 2·s·(dv/dt)/v and dt/ds = 2·s/v.
    # Steps grow as i^1.5: drag at low Reynolds numbers bends the path most near rest.
    for i in range(1, steps + 1):
        fraction = i / steps
        following = first + span * fraction * math.sqrt(fraction)
        step = following - s
        k1 = slope(s, v) if v > 0.0 else at_rest
        t1 = s / v if v > 0.0 else 1.0 / at_rest
        half = 0.5 * step
        middle = s + half
        va = v + half * k1
        k2 = slope(middle, va)
        vb = v + half * k2
        k3 = slope(middle, vb)
        s = following
        vc = v + step * k3
        k4 = slope(s, vc)
        time += step / 3.0 * (t1 + 2.0 * middle / va + 2.0 * middle / vb + s / vc)
        v += step / 6.0 * (k1 + 2.0 * k2 + 2.0 * k3 + k4)
    weber = weber_per_speed2 * v * v
    if weber > MAX_WEBER:
        raise refuse_flattening(weber)
    return FallResult(time, v)


def terminal_speed(diameter_m: float, conditions: Conditions = WATER_IN_A_ROOM) -> float:
    """Speed in m/s at which drag balances weight, for a drop of 1-5.5 mm.

    The root of the equation of motion at the head of this module, by bisection to 1 part in 1e12.
    Raises PhysicsRangeError as `fall` does.
    """
    check_range("drop diameter", diameter_m, MIN_DIAMETER_M, MAX_DIAMETER_M, "m")
    conditions.check()
    drive, drag, reynolds_per_speed, weber_per_speed2 = conditions.move(diameter_m)
    low, high = 0.1, 30.0
    while high - low > 1e-12 * high:
        v = 0.5 * (low + high)
        v2 = v * v
        if drag * drag_coefficient(reynolds_per_speed * v, weber_per_speed2 * v2) * v2 < drive:
            low = v
        else:
            high = v
    weber = weber_per_speed2 * low * low
    if weber > MAX_WEBER:
        raise refuse_flattening(weber)
    return low
