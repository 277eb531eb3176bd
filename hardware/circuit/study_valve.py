"""Valve driver: how fast the coil's current rises and falls, with three clamps, two supplies, all corners."""

from __future__ import annotations

import itertools
from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from beamfall.physics.coil import COPPER_PER_K, closing_time_s, opening_time_s
from circuit.netlist import build_circuit
from circuit.spice import run_deck

# Across the coil, beside the clamp's own voltage: the rectifier's drop at 0.1 to 0.2 A.
DIODE_V = 0.8
CLAMP_NAMES = {0.0: "plain diode", 24.0: "24 V clamp", 36.0: "36 V clamp"}
# A 12 V valve of 2.4 W as in the bill of materials; the 24 V one has the same power: four times the resistance
# and inductance.
COILS = {12.0: (60.0, 0.15), 24.0: (240.0, 0.60)}
# Share of the nominal settled current at which the plunger pulls in, and at which it lets go (common practice,
# no source).
PULL_SHARE = 0.6
HOLD_SHARES = {"low": 0.15, "nominal": 0.25, "high": 0.35}
WARM_K = 60.0  # rise of a coil rated for continuous duty, at full duty (common practice, no source)


@dataclass(frozen=True)
class ValveCase:
    """One run: its name, and the deck's parameters."""

    supply_v: float
    clamp_v: float
    corner: str
    params: Mapping[str, float]

    def by_hand(self) -> dict[str, float]:
        """Closing and opening time in seconds, settled current in amperes, peak drain voltage, from the formulas."""
        p = self.params
        loop = p["rcoil"] + p["rfuse"] + p["rshunt"] + 0.17
        start = p["vsup"] / loop
        return {
            "t_hold": closing_time_s(
                p["lcoil"], p["rcoil"] + p["rclamp"], start, p["ihold"], p["vclamp"] + DIODE_V
            ),
            "t_pull": opening_time_s(p["lcoil"], loop, p["vsup"], p["ipull"]),
            "i_end": start,
            "v_peak": p["vsup"] + p["vclamp"] + DIODE_V + start * p["rclamp"],
        }


def _params(supply_v: float, clamp_v: float, **factors: float) -> dict[str, float]:
    ohm, henry = COILS[supply_v]
    nominal_a = supply_v / ohm
    circuit = build_circuit()
    return {
        "vsup": supply_v * factors.get("supply", 1.0),
        "rcoil": ohm * factors.get("ohm", 1.0),
        "lcoil": henry * factors.get("henry", 1.0),
        "vclamp": clamp_v * factors.get("clamp", 1.0),
        "rclamp": 0.5 if clamp_v else 0.01,
        "vth": factors.get("vth", 1.8),
        "vbuf": factors.get("vbuf", 5.0),
        "rfuse": 0.4,
        "rgate": circuit.part("R110").item.ratings["ohm"],
        "rpull": circuit.part("R111").item.ratings["ohm"],
        "rshunt": circuit.part("R510").item.ratings["ohm"],
        "ipull": PULL_SHARE * nominal_a,
        "ihold": factors.get("hold", HOLD_SHARES["nominal"]) * nominal_a,
        "ton": 40e-3,
        # Until the slowest coil is empty: 11 ms with a plain diode, and what follows is only ringing.
        "toff": 25e-3 if clamp_v == 0 else 10e-3,
    }


def nominal_cases() -> Iterator[ValveCase]:
    """The three clamps at the two supplies, everything else at its nominal value."""
    for supply, clamp in itertools.product(COILS, CLAMP_NAMES):
        yield ValveCase(supply, clamp, "nominal", _params(supply, clamp))


def corner_cases() -> Iterator[ValveCase]:
    """All corners between rigs: supply, coil resistance and warmth, inductance, clamp, let-go current, gate
    threshold.
    """
    hot = 1.1 * (1 + COPPER_PER_K * WARM_K)
    for supply, clamp in itertools.product(COILS, CLAMP_NAMES):
        for n, (s, r, h, c, i) in enumerate(
            itertools.product((0.95, 1.05), (0.9, hot), (0.8, 1.2), (0.95, 1.05), ("low", "high"))
        ):
            # The gate's corner goes along with the supply's: it moves microseconds and needs no doubling of the runs.
            gate = {"vth": 2.5, "vbuf": 4.5} if s < 1 else {"vth": 1.0, "vbuf": 5.25}
            factors = {
                "supply": s,
                "ohm": r,
                "henry": h,
                "clamp": c,
                "hold": HOLD_SHARES[i],
                **gate,
            }
            yield ValveCase(supply, clamp, f"corner {n}", _params(supply, clamp, **factors))


def one_rig_cases() -> Iterator[ValveCase]:
    """One and the same rig: cold and 30 K warmer, supply 1 % either way."""
    for supply, clamp in itertools.product(COILS, CLAMP_NAMES):
        for n, (s, warm) in enumerate(itertools.product((0.99, 1.01), (0.0, 30.0))):
            factors = {"supply": s, "ohm": 1 + COPPER_PER_K * warm}
            yield ValveCase(supply, clamp, f"drift {n}", _params(supply, clamp, **factors))


def run_case(case: ValveCase) -> dict[str, float]:
    """Seconds, amperes, volts and joules that the deck measures; `t_pull` may be missing (the valve does not
    pull in).
    """
    run = run_deck("valve", case.params, optional=["t_pull"])
    result = dict(run.measured)
    result["e_clamp"] = (case.params["vclamp"] + DIODE_V) * result.pop("q_clamp")
    return result
