"""The drop itself: its volume, diameter and first speed, through a valve or dripping from a nozzle."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

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


@dataclass(frozen=True)
class ValveFlow:
    """The flow through a valve that opens at once: towards `steady_m3_s`, at a rate of `rate_per_s`.

    The speed in the bore is u(t) = u∞·(1 − q)/(1 + asymmetry·q) with q = exp(−rate·t). Times may be
    floats or arrays.
    """

    steady_m3_s: float
    bore_m: float
    rate_per_s: float
    asymmetry: float

    @property
    def steady_speed_m_s(self) -> float:
        """Speed in the bore after a long time."""
        return self.steady_m3_s / (math.pi / 4.0 * self.bore_m**2)

    def compute_volume(self, open_s: Any) -> Any:
        """Volume in m³ that has passed after a time."""
        q = math.e ** (-self.rate_per_s * open_s)
        a = self.asymmetry
        lost = (1.0 + a) / (a * self.rate_per_s) * _log((1.0 + a) / (1.0 + a * q))
        return self.steady_m3_s * (open_s - lost)

    def compute_speed(self, open_s: Any) -> Any:
        """Speed in m/s at the mouth after a time."""
        q = math.e ** (-self.rate_per_s * open_s)
        return self.steady_speed_m_s * (1.0 - q) / (1.0 + self.asymmetry * q)

    def compute_push(self, open_s: float) -> float:
        """The speed in m/s that the liquid of an opening has left with on average, by momentum: ∫u²dt/∫u dt."""
        steady, a = self.steady_speed_m_s, self.asymmetry
        passed = self.compute_volume(open_s) / (math.pi / 4.0 * self.bore_m**2)
        if passed <= 0.0:
            return 0.0
        # The equation of motion, integrated: du/dt = rate·(u∞ − u)·(a·u + u∞)/(u∞·(1 + a)).
        squares = (
            steady**2 * open_s
            - steady * (1.0 - a) * passed
            - self.compute_speed(open_s) * steady * (1.0 + a) / self.rate_per_s
        ) / a
        return float(squares / passed)

    def find_opening(self, volume_m3: float) -> float:
        """The time after which a volume has passed, in s."""
        low, high = 0.0, volume_m3 / self.steady_m3_s + 10.0 / self.rate_per_s
        for _ in range(50):
            middle = 0.5 * (low + high)
            low, high = (middle, high) if self.compute_volume(middle) < volume_m3 else (low, middle)
        return 0.5 * (low + high)


def valve_flow(
    head_m: float,
    bore_m: float,
    length_m: float,
    liquid: Liquid = WATER,
    *,
    discharge: float = 0.61,
    gravity: float = STANDARD_GRAVITY,
) -> ValveFlow:
    """Flow through a valve's bore: head, losses at its ends, viscous loss and inertia.

    length·du/dt = g·head − u²/(2·Cd²) − 32·ν·length·u/bore², whose solution is closed. The last
    term is Hagen and Poiseuille's law, the one before it Torricelli's with a discharge
    coefficient. A liquid that thins has its viscosity at the shear rate at the wall, 8·u/bore.

    `head_m` 0.005-2 m: under a Mariotte bottle the height of its air inlet above the nozzle,
    whatever the level of the liquid, as long as the inlet is covered. `bore_m` 0.2-10 mm,
    `length_m` 0.1 mm to 0.5 m of the narrow path. `discharge` Cd 0.3-1: about 0.6 sharp-edged,
    0.8 short tube (from memory). What the surface's tension holds back is left out: weigh drops.
    """
    check_range("head", head_m, 0.005, 2.0, "m")
    check_range("bore", bore_m, 2e-4, 0.01, "m")
    check_range("length of the bore", length_m, 1e-4, 0.5, "m")
    check_range("discharge coefficient", discharge, 0.3, 1.0)
    ends = 0.5 / discharge**2
    drive = gravity * head_m
    speed = math.sqrt(drive / ends)
    for _ in range(60 if liquid.flow_index != 1.0 else 1):
        shear = min(max(8.0 * speed / bore_m, 0.1), 1e4)
        viscous = 32.0 * liquid.viscosity_at(shear) / liquid.density_kg_m3 * length_m / bore_m**2
        root = math.sqrt(viscous**2 + 4.0 * ends * drive)
        found = 2.0 * drive / (viscous + root)
        if abs(found - speed) < 1e-9:
            break
        speed = 0.5 * (speed + found)
    return ValveFlow(
        steady_m3_s=math.pi / 4.0 * bore_m**2 * found,
        bore_m=bore_m,
        rate_per_s=root / length_m,
        asymmetry=found / (found + viscous / ends),
    )


def valve_volume(flow: ValveFlow, opening_s: float, *, lag_s: float = 0.0) -> float:
    """Volume in m³ that passes while the valve is commanded open for `opening_s` (0-2 s).

    `lag_s` is how much later the valve opens than it closes: it shortens the true opening. The
    result is 0 when the valve never opens.
    """
    check_range("valve opening", opening_s, 0.0, 2.0, "s")
    check_range("valve lag", lag_s, -0.1, 0.1, "s")
    return float(flow.compute_volume(max(0.0, opening_s - lag_s)))


def start_speed(
    diameter_m: Any, mouth_speed_m_s: Any, bore_m: float, liquid: Liquid = WATER,
    *, gravity: float = STANDARD_GRAVITY,
) -> Any:  # fmt: skip
    """Speed in m/s of a drop as it comes free: v² = g·D/2 + max(0, u² − 2σ/(ρ·bore)).

    u is the speed that the drop's liquid had at the mouth, by momentum (`ValveFlow.compute_push`);
    surface tension takes its share of it. A drop that only drips has √(g·D/2). Ours, checked against drops
    computed with an open solver of free-surface flow: see `tests/physics/test_drops.py`. Floats or arrays.
    """
    held = 2.0 * liquid.surface_tension_n_m / (liquid.density_kg_m3 * bore_m)
    pushed = mouth_speed_m_s**2 - held
    return (0.5 * gravity * diameter_m + 0.5 * (pushed + abs(pushed))) ** 0.5


def _log(x: Any) -> Any:
    if isinstance(x, float):
        return math.log(x)
    import numpy as np

    return np.log(x)


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
