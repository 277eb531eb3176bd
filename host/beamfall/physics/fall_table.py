"""Many falls at once: polynomials fitted to the integrated path, for arrays.

For one liquid, air and gravity the path from rest depends on height and diameter only, and in
s = √(height) it is smooth. `build_table` integrates it at Chebyshev nodes of s and of the
diameter and keeps T(s, D)/s and V(s, D)/s as polynomials; evaluating them costs some 0.1 µs a
fall. A drop with an initial speed is one that has already fallen the head H(v, D), kept as a third
polynomial. Measured against `fall.fall`: within 3 µs and 0.2 mm/s, see the benchmark
`tests/benchmarks/physics_fall.py`.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from functools import cache, lru_cache
from typing import NamedTuple

import numpy as np

from beamfall.arrays import Floats
from beamfall.physics.drag import drag_coefficient
from beamfall.physics.fall import (
    MAX_DIAMETER_M,
    MAX_HEIGHT_M,
    MAX_INITIAL_SPEED_M_S,
    MAX_WEBER,
    MIN_DIAMETER_M,
    WATER_IN_A_ROOM,
    Conditions,
    refuse_flattening,
)
from beamfall.physics.ranges import check_range

_DIAMETER_NODES = 10
_HEAD_NODES = 8
_LEAST_INVERSE, _MOST_INVERSE = 1.0 / MAX_DIAMETER_M, 1.0 / MIN_DIAMETER_M
_ROOT_M_PER_NODE = 0.1
_MAX_RK_STEP = 0.03  # in √m


class FallArrayResult(NamedTuple):
    """Times in s and speeds in m/s, an element a drop."""

    time_s: Floats
    speed_m_s: Floats


class DropFalls:
    """Many drops of one liquid in one air: `fall` for vectors of one length.

    Millions of falls a second, ten times as many from the second height on, within 3 µs of
    `fall` up to 1.2 m and 20 µs up to 5 m; the first call for a new liquid, air or gravity
    costs some 20 ms more.
    Raises PhysicsRangeError as `fall` does when any element is out of range, naming the worst.
    """

    def __init__(
        self,
        diameter_m: Floats,
        initial_speed_m_s: Floats,
        conditions: Conditions = WATER_IN_A_ROOM,
    ) -> None:
        _check_all("drop diameter", diameter_m, MIN_DIAMETER_M, MAX_DIAMETER_M, "m")
        _check_all("initial speed", initial_speed_m_s, 0.0, MAX_INITIAL_SPEED_M_S, "m/s")
        conditions.check()
        self._diameter, self._start = diameter_m, initial_speed_m_s
        self._conditions = conditions
        self._weber_per_speed2 = (
            conditions.air.density_kg_m3 / conditions.surface_tension_n_m * diameter_m
        )
        self._prepared: dict[float, FallsOfDrops] = {}

    def fall(self, height_m: Floats) -> FallArrayResult:
        """Time and speed of each drop after its height, a vector as long as the diameters."""
        _check_all("fall height", height_m, 0.0, MAX_HEIGHT_M, "m")
        top = _choose_top(height_m)
        if top not in self._prepared:
            table = build_table(self._conditions, top)
            self._prepared[top] = table.prepare(self._diameter, self._start)
        time, speed = self._prepared[top].evaluate(height_m)
        weber = float((self._weber_per_speed2 * speed**2).max())
        if weber > MAX_WEBER:
            raise refuse_flattening(weber)
        return FallArrayResult(time, speed)


def _choose_top(height_m: Floats) -> float:
    """Two tables: falls of a photographer, and the rest. An initial speed adds 0.4 m at most."""
    return 1.6 if float(height_m.max()) <= 1.2 else MAX_HEIGHT_M + 0.4


def _check_all(key: str, values: Floats, low: float, high: float, unit: str) -> None:
    """check_range for the smallest and the largest element; NaN is refused by either."""
    check_range(key, float(values.min()), low, high, unit)
    check_range(key, float(values.max()), low, high, unit)


@dataclass(frozen=True)
class FallTable:
    """Polynomials in (s, D) for time/s and speed/s and in (v, D) for head/v².

    `time`, `speed` have shape (powers of s, powers of D), `head` (powers of v, powers of D);
    each variable is mapped to -1..1: s from 0 to `top_root`, 1/D and v over their ranges.
    """

    top_root: float
    time: Floats
    speed: Floats
    head: Floats

    def prepare(self, diameter: Floats, start: Floats) -> FallsOfDrops:
        """Put diameters and first speeds in: nine tenths of the work, needed once for all heights."""
        y = (2.0 / diameter - (_LEAST_INVERSE + _MOST_INVERSE)) / (_MOST_INVERSE - _LEAST_INVERSE)
        by_time, by_speed = _collapse(self.time, y), _collapse(self.speed, y)
        scale = 2.0 / self.top_root
        if not np.any(start):
            return FallsOfDrops(scale, by_time, by_speed, np.zeros(1), np.zeros(1))
        by_head = _collapse(self.head, y)
        head = start * start * _horner(by_head, start * (2.0 / MAX_INITIAL_SPEED_M_S) - 1.0)
        s0 = np.sqrt(head)
        return FallsOfDrops(scale, by_time, by_speed, head, s0 * _horner(by_time, s0 * scale - 1.0))


@dataclass(frozen=True)
class FallsOfDrops:
    """The falls of drops whose diameters and first speeds are given: functions of the height alone.

    `by_time`, `by_speed`: for each power of s the coefficients of all drops. `head_m` is the fall
    from rest that gives the first speed, `head_s` the time of that fall.
    """

    scale: float
    by_time: list[Floats]
    by_speed: list[Floats]
    head_m: Floats
    head_s: Floats

    def evaluate(self, height: Floats) -> tuple[Floats, Floats]:
        """Times and speeds after a fall through a height each (or one for all)."""
        s = np.sqrt(self.head_m + height)
        x = s * self.scale - 1.0
        time = s * _horner(self.by_time, x)
        time -= self.head_s
        return time, s * _horner(self.by_speed, x)


def _collapse(table: Floats, y: Floats) -> list[Floats]:
    """Coefficients by power of the first variable, with the second one put in."""
    return [_horner(list(row), y) for row in table]


def _horner(coefficients: list[Floats], x: Floats) -> Floats:
    total: Floats = coefficients[-1] * x
    total += coefficients[-2]
    for coefficient in coefficients[-3::-1]:
        total *= x
        total += coefficient
    return total


@lru_cache(maxsize=32)
def build_table(conditions: Conditions, top_height: float) -> FallTable:
    """Integrate the path and fit it; some 20 ms. Same equation and units as `fall.fall`."""
    liquid_density, surface_tension, air, gravity = conditions
    ratio = air.density_kg_m3 / liquid_density
    drive = gravity * (1.0 - ratio)
    y = np.polynomial.chebyshev.chebpts1(_DIAMETER_NODES)
    d = 2.0 / (y * (_MOST_INVERSE - _LEAST_INVERSE) + _LEAST_INVERSE + _MOST_INVERSE)

    def accelerate(v: Floats, d: Floats) -> Floats:
        reynolds = air.density_kg_m3 * d * v / air.viscosity_pa_s
        weber = air.density_kg_m3 * d * v * v / surface_tension
        drag: Floats = 0.75 * ratio / d * drag_coefficient(reynolds, weber, np.tanh) * v * v
        return drive - drag

    top_root = math.sqrt(top_height)
    x = np.polynomial.chebyshev.chebpts1(math.ceil(top_root / _ROOT_M_PER_NODE))
    times, speeds = _integrate_path(accelerate, drive, 0.5 * top_root * (x + 1.0), d)

    # Head: H(v) = ∫ v dv / a(v), by Gauss-Legendre on v·(0..1).
    z = np.polynomial.chebyshev.chebpts1(_HEAD_NODES)
    v = 0.5 * MAX_INITIAL_SPEED_M_S * (z + 1.0)
    points, weights = np.polynomial.legendre.leggauss(12)
    u = 0.5 * (points + 1.0)
    heads = np.array(
        [
            [float(np.sum(0.5 * weights * u / accelerate(u * vi, np.full_like(u, di)))) for di in d]
            for vi in v
        ]
    )
    return FallTable(
        top_root, _fit_powers(times, x, y), _fit_powers(speeds, x, y), _fit_powers(heads, z, y)
    )  # fmt: skip


def _integrate_path(
    accelerate: Callable[[Floats, Floats], Floats], drive: float, nodes: Floats, d: Floats
) -> tuple[Floats, Floats]:
    """T/s and V/s at the nodes of s (ascending) for every diameter: Runge-Kutta in s."""
    at_rest = math.sqrt(2.0 * drive)
    # The first stretch is short enough for drag to be a small correction of free fall.
    s = 1e-3
    v = np.full_like(d, at_rest * s)
    t = np.full_like(d, 2.0 * s / at_rest)
    times, speeds = [], []
    for node in nodes:
        steps = max(2, math.ceil((node - s) / _MAX_RK_STEP))
        first, span = s, float(node) - s
        for i in range(1, steps + 1):
            following = first + span * i / steps
            step = following - s
            middle = s + 0.5 * step
            k1 = 2.0 * s * accelerate(v, d) / v
            va = v + 0.5 * step * k1
            k2 = 2.0 * middle * accelerate(va, d) / va
            vb = v + 0.5 * step * k2
            k3 = 2.0 * middle * accelerate(vb, d) / vb
            vc = v + step * k3
            k4 = 2.0 * following * accelerate(vc, d) / vc
            t = t + step / 3.0 * (s / v + 2.0 * middle / va + 2.0 * middle / vb + following / vc)
            v = v + step / 6.0 * (k1 + 2.0 * k2 + 2.0 * k3 + k4)
            s = following
        times.append(t / s)
        speeds.append(v / s)
    return np.array(times), np.array(speeds)


def _fit_powers(values: Floats, x: Floats, y: Floats) -> Floats:
    """Coefficients of powers of x and y that pass through values at Chebyshev nodes."""
    by_x = np.polynomial.chebyshev.chebfit(x, values, len(x) - 1)
    both = np.polynomial.chebyshev.chebfit(y, by_x.T, len(y) - 1).T
    powers: Floats = _list_powers(len(x)).T @ both @ _list_powers(len(y))
    return powers


@cache
def _list_powers(count: int) -> Floats:
    """The first Chebyshev polynomials, a row each, by powers: T(n+1) = 2·x·T(n) - T(n-1)."""
    rows = np.zeros((count, count))
    rows[0, 0] = 1.0
    rows[1, 1] = 1.0
    for n in range(2, count):
        rows[n, 1:] = 2.0 * rows[n - 1, :-1]
        rows[n] -= rows[n - 2]
    return rows
