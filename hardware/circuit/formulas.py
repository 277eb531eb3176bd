"""Hand formulas that the simulations are checked against. SI units.

They are written independently of the decks. Each says what it leaves out and how well it should agree.
Those of the valves' coils are in `beamfall.physics.coil`, since `beamfall board limits` uses them too.
"""

from __future__ import annotations

import math


def optocoupler_delay_s(
    photo_a: float, base_farad: float, collector_farad: float, base_v: float, swing_v: float
) -> float:
    """Turn-on delay of a phototransistor in seconds: charge to be moved over the light's current.

    (C_be + C_bc)·V_be raises the base, C_bc·swing is the Miller charge while the collector falls. Capacitances are
    taken as constant, so do not expect agreement closer than a factor of 1.6.
    """
    return ((base_farad + collector_farad) * base_v + collector_farad * swing_v) / photo_a


def junction_farad(at_zero_farad: float, reverse_v: float) -> float:
    """Capacitance of a reverse biased junction in farads: C0/(1 + V/0.7)^0.33 (SPICE's junction law)."""
    return float(at_zero_farad / (1 + reverse_v / 0.7) ** 0.33)


def beam_edge_s(
    clear_v: float,
    threshold_v: float,
    tau_s: float,
    drop_speed: float,
    slit_m: float,
    leak: float,
    *,
    darkening: bool,
) -> float:
    """When the receiver's output passes the threshold, in seconds after half shadow.

    The light falls (or rises) evenly while the drop's edge sweeps the slit, from half the sweep before half shadow; the
    receiver follows as a first-order lag of time constant tau = gain·R·C_bc. Solved by bisection.
    """
    sweep_s = slit_m / drop_speed
    low_v = clear_v * leak
    first_v, last_v = (clear_v, low_v) if darkening else (low_v, clear_v)
    slope = (last_v - first_v) / sweep_s

    def output_v(time_s: float) -> float:
        if time_s <= sweep_s:
            return first_v + slope * (time_s - tau_s * (1 - math.exp(-time_s / tau_s)))
        at_end = first_v + slope * (sweep_s - tau_s * (1 - math.exp(-sweep_s / tau_s)))
        return last_v + (at_end - last_v) * math.exp(-(time_s - sweep_s) / tau_s)

    low_s, high_s = 0.0, sweep_s + 20 * tau_s
    for _ in range(60):
        middle = (low_s + high_s) / 2
        if (output_v(middle) > threshold_v) == darkening:
            low_s = middle
        else:
            high_s = middle
    return low_s - sweep_s / 2
