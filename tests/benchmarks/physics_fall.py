"""How well and how fast the fall is computed: `python tests/benchmarks/physics_fall.py`.

Prints, for each diameter, the largest deviation over 0.1-1.0 m from the two reference models
(integrated drag of a rigid sphere by `fluids`; the closed form of a constant drag coefficient with
Gunn & Kinzer's terminal speed), then the cost of one scalar evaluation and the rate of arrays,
and the largest difference between the two ways of computing.
"""

from __future__ import annotations

import math
import time

import numpy as np
from fluids.drag import drag_sphere
from scipy.integrate import solve_ivp

from beamfall.physics.air import Air
from beamfall.physics.fall import Conditions, fall, terminal_speed
from beamfall.physics.fall_table import DropFalls

GRAVITY = 9.80665
LIQUID_KG_M3 = 998.207  # IAPWS-95, 20 °C
AIR = Air(1.20458, 1.82057e-5)  # 20 °C, 101,325 Pa
IN_AIR = Conditions(air=AIR)
HEIGHTS_M = np.round(np.arange(0.1, 1.0001, 0.05), 3)
# Gunn & Kinzer 1949, J. Meteorology 6:243 (second-hand). 5.5 mm: between 9.14 (5.4) and 9.16 (5.6),
# those two and no other figure from memory.
TERMINAL_M_S = {1.0: 4.03, 2.0: 6.49, 3.0: 8.06, 4.0: 8.83, 5.0: 9.09, 5.5: 9.15}


def integrate_sphere(diameter_m: float, heights_m: np.ndarray) -> np.ndarray:
    """Fall times in s of a rigid sphere from rest, drag by fluids' default correlation."""
    ratio = AIR.density_kg_m3 / LIQUID_KG_M3

    def derivative(_: float, state: np.ndarray) -> list[float]:
        v = float(state[1])
        reynolds = max(AIR.density_kg_m3 * v * diameter_m / AIR.viscosity_pa_s, 1e-9)
        drag = 0.75 * ratio / diameter_m * drag_sphere(reynolds) * v * v
        return [v, GRAVITY * (1.0 - ratio) - drag]

    events = [lambda _, y, h=float(h): y[0] - h for h in heights_m]
    found = solve_ivp(
        derivative, (0.0, 0.8), [0.0, 0.0], events=events, rtol=1e-8, atol=1e-11, max_step=0.02
    )
    return np.array([moments[0] for moments in found.t_events])


def solve_closed_form(terminal_m_s: float, heights_m: np.ndarray) -> np.ndarray:
    """Fall times in s with the drag coefficient held at its value at terminal speed."""
    reduced = GRAVITY * (1.0 - AIR.density_kg_m3 / LIQUID_KG_M3)
    grown = np.exp(reduced * heights_m / terminal_m_s**2)
    return terminal_m_s / reduced * np.arccosh(grown)


def largest(deviation_s: np.ndarray) -> str:
    at = int(np.argmax(np.abs(deviation_s)))
    return f"{deviation_s[at] * 1e3:+8.3f} ms at {HEIGHTS_M[at]:.2f} m"


def main() -> None:
    print("largest deviation over 0.1-1.0 m")
    print("  mm   from sphere drag         from closed form         sphere - closed, 1.0 m   vt/GK")
    for diameter_mm, terminal in TERMINAL_M_S.items():
        d = diameter_mm * 1e-3
        model = np.array([fall(float(h), d, IN_AIR).time_s for h in HEIGHTS_M])
        sphere = integrate_sphere(d, HEIGHTS_M)
        closed = solve_closed_form(terminal, HEIGHTS_M)
        print(
            f"  {diameter_mm:.1f}  {largest(model - sphere)}  {largest(model - closed)}"
            f"  {(sphere[-1] - closed[-1]) * 1e3:+8.3f} ms"
            f"              {terminal_speed(d, IN_AIR) / terminal - 1:+.1%}"
        )

    for height in (0.1, 0.5, 1.0):
        best = math.inf
        for _ in range(5):
            begin = time.perf_counter()
            for _ in range(500):
                fall(height, 4e-3)
            best = min(best, (time.perf_counter() - begin) / 500)
        print(f"one fall of {height:.1f} m: {best * 1e6:.1f} µs (best of 5)")

    rng = np.random.default_rng(4)
    count = 8_000  # what a plan draws at once
    heights, diameters = rng.uniform(0.1, 1.0, count), rng.uniform(1e-3, 5.5e-3, count)
    starts = rng.uniform(0.0, 0.5, count)
    begin = time.perf_counter()
    DropFalls(np.full(1, 4e-3), np.zeros(1), IN_AIR).fall(np.full(1, 0.5))
    print(f"first array call (builds the table): {(time.perf_counter() - begin) * 1e3:.0f} ms")
    for name, start in (("from rest", np.zeros(count)), ("with an initial speed", starts)):
        begin = time.perf_counter()
        result = DropFalls(diameters, start, IN_AIR).fall(heights)
        rate = count / (time.perf_counter() - begin)
        some = range(0, count, 8)
        single = [
            fall(heights[i], diameters[i], IN_AIR, initial_speed_m_s=float(start[i])) for i in some
        ]
        apart = max(abs(result.time_s[i] - one.time_s) for i, one in zip(some, single, strict=True))
        print(f"arrays {name}: {rate / 1e6:.1f} million/s, within {apart * 1e6:.1f} µs of `fall`")


if __name__ == "__main__":
    main()
