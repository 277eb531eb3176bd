"""A valve's coil: when its plunger moves, and what its clamp must take. SI units.

For limits (`coil_times`) a coil is L and R in series. The plunger's change of L and its eddy currents are left out:
they make a real valve slower, not faster. Hardware's studies in ngspice use the same formulas and agree with them in
every corner. `CoilCurrent` follows one opening in small steps, with the plunger's notch; the simulated rig uses it.
"""

from __future__ import annotations

import itertools
import math
from dataclasses import dataclass

from beamfall.physics.ranges import check_range

# Copper's resistance rises by 0.393 % per kelvin from 20 °C (IEC 60028 temperature coefficient, 0.00393 1/K).
COPPER_PER_K = 0.00393
# Share of the nominal settled current at which the plunger pulls in, and at which it lets go (common practice, no
# source).
PULL_SHARE = 0.6
HOLD_SHARES = (0.15, 0.35)
# What the controller's circuit adds (hardware/): clamp and its diode, and resistances in the coil's path.
CLAMP_V = 36.0
DIODE_V = 0.8
CLAMP_OHM = 0.5
LOOP_OHM = 1.0
MAX_A = 0.5  # what each output is built for
SUPPLY_TOLERANCE = 0.05
WARM_K = 60.0  # rise of a coil rated for continuous duty, at full duty (common practice, no source)


def closing_time_s(
    inductance_h: float, coil_ohm: float, start_a: float, hold_a: float, clamp_v: float
) -> float:
    """Time for a coil's current to fall from `start_a` to `hold_a` against a clamp, in seconds.

    t = (L/R)·ln[(I0 + Vc/R)/(Ih + Vc/R)]: the solution of L·di/dt = −R·i − Vc. `clamp_v` is the whole voltage
    across the coil: clamp and diode. Leaves out the capacitances and the driver's own time (about 1 µs).
    """
    step_a = clamp_v / coil_ohm
    return inductance_h / coil_ohm * math.log((start_a + step_a) / (hold_a + step_a))


def opening_time_s(inductance_h: float, loop_ohm: float, supply_v: float, pull_a: float) -> float:
    """Time for the current to rise to `pull_a` in seconds; infinite when the supply cannot drive so much.

    t = −(L/R)·ln(1 − Ip·R/V), R the whole loop's resistance.
    """
    share = pull_a * loop_ohm / supply_v
    return math.inf if share >= 1 else -inductance_h / loop_ohm * math.log(1 - share)


def clamp_energy_j(inductance_h: float, coil_ohm: float, start_a: float, clamp_v: float) -> float:
    """Energy that the clamp takes at one closing, in joules: Vc times the charge until the current is zero.

    The charge is the integral of the current in `closing_time_s`: L·I0/R − (Vc/R)·t0.
    """
    end_s = closing_time_s(inductance_h, coil_ohm, start_a, 0.0, clamp_v)
    charge = inductance_h * start_a / coil_ohm - clamp_v / coil_ohm * end_s
    return clamp_v * charge


@dataclass(frozen=True)
class CoilTimes:
    """What a valve's coil does on the controller, least and greatest over all corners. Seconds, amperes, joules."""

    pull_in_s: tuple[float, float]
    let_go_s: tuple[float, float]
    settled_a: float  # the most, cold at the highest supply
    clamp_j: float


def coil_times(coil_ohm: float, inductance_h: float, supply_v: float) -> CoilTimes:
    """Pull-in, let-go and clamp energy of a coil on the controller.

    Corners: supply ±5 %, resistance −5 % to a coil 60 K warmer, inductance ±20 %, clamp ±5 %, let-go at 15 to 35 % of
    the nominal current. Resistance 5 to 1000 ohm, inductance 1 mH to 2 H, supply 5 to 30 V; PhysicsError beyond.
    """
    check_range("coil's resistance", coil_ohm, 5.0, 1000.0, "ohm")
    check_range("coil's inductance", inductance_h, 1e-3, 2.0, "H")
    check_range("supply", supply_v, 5.0, 30.0, "V")
    nominal_a = supply_v / coil_ohm
    pull, let_go, clamp, most_a = [], [], [], 0.0
    hot = 1 + COPPER_PER_K * WARM_K
    for supply, ohm, henry, vc, hold in itertools.product(
        (1 - SUPPLY_TOLERANCE, 1 + SUPPLY_TOLERANCE),
        (0.95, hot),
        (0.8, 1.2),
        (0.95, 1.05),
        HOLD_SHARES,
    ):
        volt, r, inductance = supply_v * supply, coil_ohm * ohm, inductance_h * henry
        start = volt / (r + LOOP_OHM)
        clamp_v = CLAMP_V * vc + DIODE_V
        most_a = max(most_a, start)
        pull.append(opening_time_s(inductance, r + LOOP_OHM, volt, PULL_SHARE * nominal_a))
        let_go.append(closing_time_s(inductance, r + CLAMP_OHM, start, hold * nominal_a, clamp_v))
        clamp.append(clamp_energy_j(inductance, r + CLAMP_OHM, start, clamp_v))
    return CoilTimes((min(pull), max(pull)), (min(let_go), max(let_go)), most_a, max(clamp))


@dataclass(frozen=True)
class Coil:
    """A valve's coil and plunger, SI units. The defaults are invented: a 24 V valve of 10 W.

    `closed_h` is the inductance with the valve closed, `open_h` with the plunger in, which closes the iron's gap.
    """

    ohm: float = 60.0
    closed_h: float = 0.06
    open_h: float = 0.15
    pull_a: float = 0.22
    travel_s: float = 1.0e-3


class CoilCurrent:
    """The current of one coil while its voltage changes; call `step` again and again.

    Flux linkage λ = L·i follows dλ/dt = V − R·i (Faraday's law of induction). L rises while the plunger travels, so
    the current dips meanwhile: the notch by which one sees that a valve has opened. Implicit Euler steps, stable for
    any step; 50 µs is fine enough for the notch. `pulled`: the plunger is in already; `moves`: it is not stuck.
    """

    def __init__(self, coil: Coil, *, pulled: bool = False, moves: bool = True) -> None:
        self._coil = coil
        self._moves = moves
        self._travelled = 1.0 if pulled else 0.0  # share of the way
        self._flux = 0.0
        self.current_a = 0.0

    def step(self, volt: float, seconds: float) -> None:
        """Let time pass with that voltage across the coil: below 0 while the clamp takes the current."""
        coil = self._coil
        if self._moves:
            if volt > 0 and (self._travelled or self.current_a >= coil.pull_a):
                self._travelled = min(1.0, self._travelled + seconds / coil.travel_s)
            elif volt <= 0 and self.current_a < HOLD_SHARES[0] * coil.pull_a:
                self._travelled = 0.0
        henry = coil.closed_h + self._travelled * (coil.open_h - coil.closed_h)
        current_a = (self._flux + seconds * volt) / (henry + seconds * (coil.ohm + LOOP_OHM))
        self.current_a = current_a if current_a > 0.0 else 0.0
        self._flux = henry * self.current_a
