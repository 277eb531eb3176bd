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

import numpy as np
from numpy.polynomial import chebyshev

from beamfall.arrays import Floats
from beamfall.physics.air import Air
from beamfall.physics.drag import drag_coefficient

_DIAMETER_NODES = 10
_HEAD_NODES = 8
_ROOT_M_PER_NODE = 0.1
_MAX_RK_STEP = 0.03  # in √m
_CHUNK = 8192  # elements worked on at a time, so that they stay in the processor's cache


@dataclass(frozen=True)
class FallTable:
    """Polynomials in (s, D) for time/s and speed/s and in (v, D) for head/v².

    `time`, `speed` have shape (powers of s, powers of D), `head` (powers of v, powers of D);
    each variable is mapped to -1..1: s from 0 to `top_root`, 1/D and v over their ranges.
    """

    top_root: float
    inverse_diameters: tuple[float, float]
    top_speed: float
    time: Floats
    speed: Floats
    head: Floats

    def evaluate(self, height: Floats, diameter: Floats, start: Floats) -> tuple[Floats, Floats]:
        """Times and speeds for equally long (or length-1) vectors of height, diameter, speed."""
        count = max(height.size, diameter.size, start.size)
        times, speeds = np.empty(count), np.empty(count)
        for first in range(0, count, _CHUNK):
            part = slice(first, first + _CHUNK)
            h, d, v0 = (a if a.size == 1 else a[part] for a in (height, diameter, start))
            times[part], speeds[part] = self.prepare(d, v0).evaluate(h)
        return times, speeds

    def prepare(self, diameter: Floats, start: Floats) -> FallsOfDrops:
        """Put diameters and first speeds in: nine tenths of the work, needed once for all heights."""
        low, high = self.inverse_diameters
        y = (2.0 / diameter - (low + high)) / (high - low)
        by_time, by_speed = _collapse(self.time, y), _collapse(self.speed, y)
        scale = 2.0 / self.top_root
        if not np.any(start):
            return FallsOfDrops(scale, by_time, by_speed, np.zeros(1), np.zeros(1))
        by_head = _collapse(self.head, y)
        head = start * start * _horner(by_head, start * (2.0 / self.top_speed) - 1.0)
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
def build_table(
    liquid_density: float,
    surface_tension: float,
    air: Air,
    gravity: float,
    top_height: float,
    diameters: tuple[float, float],
    top_speed: float,
) -> FallTable:
    """Integrate the path and fit it; some 20 ms. Same equation and units as `fall.fall`."""
    ratio = air.density_kg_m3 / liquid_density
    drive = gravity * (1.0 - ratio)
    inverses = (1.0 / diameters[1], 1.0 / diameters[0])
    y = chebyshev.chebpts1(_DIAMETER_NODES)
    d = 2.0 / (y * (inverses[1] - inverses[0]) + inverses[0] + inverses[1])

    def accelerate(v: Floats, d: Floats) -> Floats:
        reynolds = air.density_kg_m3 * d * v / air.viscosity_pa_s
        weber = air.density_kg_m3 * d * v * v / surface_tension
        drag: Floats = 0.75 * ratio / d * drag_coefficient(reynolds, weber, np.tanh) * v * v
        return drive - drag

    top_root = math.sqrt(top_height)
    x = chebyshev.chebpts1(math.ceil(top_root / _ROOT_M_PER_NODE))
    times, speeds = _integrate_path(accelerate, drive, 0.5 * top_root * (x + 1.0), d)

    # Head: H(v) = ∫ v dv / a(v), by Gauss-Legendre on v·(0..1).
    z = chebyshev.chebpts1(_HEAD_NODES)
    v = 0.5 * top_speed * (z + 1.0)
    points, weights = np.polynomial.legendre.leggauss(12)
    u = 0.5 * (points + 1.0)
    heads = np.array(
        [
            [float(np.sum(0.5 * weights * u / accelerate(u * vi, np.full_like(u, di)))) for di in d]
            for vi in v
        ]
    )
    return FallTable(
        top_root, inverses, top_speed,
        _fit_powers(times, x, y), _fit_powers(speeds, x, y), _fit_powers(heads, z, y),
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
    by_x = chebyshev.chebfit(x, values, len(x) - 1)
    both = chebyshev.chebfit(y, by_x.T, len(y) - 1).T
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
