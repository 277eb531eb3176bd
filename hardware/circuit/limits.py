"""The firmware's limits that follow from the circuit, compared with those of the profiles.

Each bound says what it is based on. 'must' bounds protect the parts or the meaning of a shot: a profile that breaks one
is wrong, and a test fails. 'should' bounds hold for the least favourable valve or drop; a profile may exceed one, and
the page says what follows from that.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass

from beamfall.physics.coil import COPPER_PER_K, closing_time_s, coil_times
from circuit.conditions import CONDITIONS
from circuit.profiles import Profile
from circuit.results import Results
from circuit.study_beam import DROP_M, DROP_SPEED, FLASH_S, SLIT_M
from circuit.study_valve import COILS, DIODE_V, HOLD_SHARES, PULL_SHARE, WARM_K
from circuit.tables import format_cell, to_markdown

# A small valve's winding: 15 g of copper (common practice, no source) at 385 J/(kg·K) (specific heat of copper at 25
# °C, tables of physics, from memory). Heat into the body is left out: the winding alone warms fastest.
WINDING_KG = 0.015
COPPER_J_PER_KG_K = 385.0
SINGLE_RISE_K = 1.0  # one opening must not change the next one's timing through heat
WINDOW_RISE_K = 10.0
RINSE_RISE_K = 20.0
PULL_MARGIN = 1.2


@dataclass(frozen=True)
class Bound:
    """A limit: profile constant (or table field), at least or at most, the bound, its unit, and why."""

    name: str
    kind: str  # 'at least' or 'at most'
    value: float
    unit: str
    force: str  # 'must' or 'should'
    reason: str

    def holds(self, value: float) -> bool:
        """True when the value respects the bound."""
        return value >= self.value if self.kind == "at least" else value <= self.value


def coil_power_w() -> float:
    """Highest power of a coil that the controller is built for, in watts."""
    return (
        CONDITIONS.valve_max_a
        * min(CONDITIONS.supply_nominal_v)
        * (1 + CONDITIONS.supply_tolerance)
    )


def heating_s(rise_k: float) -> float:
    """How long a coil may be on for its winding to warm by `rise_k`, no heat lost, in seconds."""
    return rise_k * WINDING_KG * COPPER_J_PER_KG_K / coil_power_w()


def warm_duty_percent() -> float:
    """Duty in percent at which a warm coil at the lowest supply still pulls in with a margin of 1.2.

    Current needed: PULL_MARGIN·PULL_SHARE of the nominal one. Left at −5 % supply and +10 % resistance when
    warmer by T:
    0.95/1.1/(1 + αT). Rise at full duty: WARM_K, times 1.05² for the highest supply.
    """
    low = (1 - CONDITIONS.supply_tolerance) / 1.1
    rise_k = (low / (PULL_MARGIN * PULL_SHARE) - 1) / COPPER_PER_K
    return 100 * rise_k / (WARM_K * (1 + CONDITIONS.supply_tolerance) ** 2)


def closing_drift_s(duty_percent: float, clamp_v: float = 36.0) -> float:
    """How much earlier a 12 V valve closes when warmed by this duty than when cold, in seconds."""
    ohm, henry = COILS[12.0]
    hold_a = HOLD_SHARES["nominal"] * 12.0 / ohm
    warm_ohm = ohm * (1 + COPPER_PER_K * WARM_K * duty_percent / 100)
    cold_s = closing_time_s(henry, ohm, 12.0 / ohm, hold_a, clamp_v + DIODE_V)
    return cold_s - closing_time_s(henry, warm_ohm, 12.0 / warm_ohm, hold_a, clamp_v + DIODE_V)


def bounds(results: Results, duty_percent: float) -> list[Bound]:
    """All bounds. `duty_percent` is the profile's, on which the window's bound depends."""
    closing_12, closing_24 = results.closing[(12.0, 36.0)], results.closing[(24.0, 36.0)]
    opening = max(spread.greatest_s for spread in results.opening.values())
    on_worst = max(spread.greatest_s for spread in results.opto_on.values())
    dark_s = (DROP_M + SLIT_M) / DROP_SPEED
    return [
        Bound(
            "VALVE_GAP_US",
            "at least",
            closing_12.greatest_s * 1e6,
            "µs",
            "must",
            "slowest closing of a 12 V valve with the 36 V clamp: with less, two openings are one",
        ),
        Bound(
            "VALVE_GAP_US",
            "at least",
            closing_24.greatest_s * 1e6,
            "µs",
            "should",
            "the same for a 24 V valve, for which the same clamp works more slowly",
        ),
        Bound(
            "VALVE_MAX_US",
            "at most",
            heating_s(SINGLE_RISE_K) * 1e6,
            "µs",
            "must",
            f"one opening warms the winding by no more than {SINGLE_RISE_K:g} K "
            f"({coil_power_w():.1f} W coil, no heat lost)",
        ),
        Bound(
            "VALVE_MAX_US",
            "at least",
            opening * 1e6,
            "µs",
            "must",
            "slowest opening: a shorter one gives no drop, so a lower limit would forbid every drop",
        ),
        Bound(
            "DUTY_PERCENT",
            "at most",
            warm_duty_percent(),
            "%",
            "must",
            "a coil warmed by this duty still pulls in at the lowest supply, with a margin of 1.2",
        ),
        Bound(
            "DUTY_PERCENT",
            "at most",
            40.0,
            "%",
            "should",
            "valves sold for intermittent duty are often rated 40 % (common practice, no source)",
        ),
        Bound(
            "DUTY_WINDOW_MS",
            "at most",
            heating_s(WINDOW_RISE_K) * 1e3 / (duty_percent / 100),
            "ms",
            "must",
            f"the whole window's open time spent at once warms the winding by no more than {WINDOW_RISE_K:g} K",
        ),
        Bound(
            "RINSE_MAX_MS",
            "at most",
            heating_s(RINSE_RISE_K) * 1e3,
            "ms",
            "must",
            f"one rinse warms the winding by no more than {RINSE_RISE_K:g} K",
        ),
        Bound(
            "FLASH_MAX_US",
            "at least",
            5 * on_worst * 1e6,
            "µs",
            "must",
            "five times the slowest optocoupler: the contact is certain to close. No upper bound: its "
            "LED may stay on for ever",
        ),
        Bound(
            "FLASH_GAP_US",
            "at least",
            (on_worst + results.opto_off_worst_s) * 1e6,
            "µs",
            "must",
            "time for the contact to close and open again, worst case. The flash recycles more slowly: see its manual",
        ),
        Bound(
            "CAMERA_MAX_MS",
            "at most",
            3600e3,
            "ms",
            "must",
            "the optocoupler's current is far below its rating: the circuit sets no limit, so an hour (our choice)",
        ),
        Bound(
            "opening (a row's width)",
            "at least",
            opening * 1e6,
            "µs",
            "should",
            "if shorter than the slowest opening, the valve may not open at all",
        ),
        Bound(
            "dwell_ticks",
            "at least",
            (FLASH_S + results.flash_recovery_s) * 1e6,
            "µs",
            "should",
            "longest false 'clear' that a 0.3 ms flash makes in a dark beam; shorter ones count as drops",
        ),
        Bound(
            "blanking_ticks",
            "at least",
            (dark_s + results.beam_clear.greatest_s) * 1e6,
            "µs",
            "should",
            f"by then a {DROP_M * 1e3:g} mm drop at {DROP_SPEED:g} m/s has left the beam and the receiver "
            f"has recovered; slower drops need more",
        ),
    ]


def limits_page(results: Results, profiles: Sequence[Profile]) -> str:
    """limits.md: bounds, profiles' values, and what follows for the person."""
    rows = []
    for bound in bounds(results, max(p["DUTY_PERCENT"] for p in profiles)):
        row: dict[str, str | float] = {
            "limit": f"`{bound.name}`" if bound.name.isupper() else bound.name,
            "bound": f"{bound.kind} {format_cell(round(bound.value))} {bound.unit}",
            "force": bound.force,
        }
        for profile in profiles:
            value = profile.values.get(bound.name)
            text = (
                ""
                if value is None
                else f"{value}" + ("" if bound.holds(value) else " (**beyond**)")
            )
            row[profile.board] = text
        row["why"] = bound.reason
        rows.append(row)
    duty = profiles[0]["DUTY_PERCENT"]
    return (
        "# Limits of the firmware, from the circuit\n\n"
        "Made by `python hardware/make.py` from the circuit studies (results/) and the profiles in "
        "firmware/boards: do not edit.\n"
        "`UPPER_CASE` names are constants of a board profile; `*_ticks` are fields of a sequence "
        "table (write them as times, the host\n"
        "converts them). Every profile keeps to each 'must' (a test checks it). If you go beyond a 'should', expect "
        "the consequence in the last column.\n\n" + to_markdown(rows) + "\n## What else follows\n\n"
        f"- At the profiles' duty of {duty} % a coil warms by about {WARM_K * duty / 100:.0f} K, "
        f"and a 12 V valve then closes "
        f"{closing_drift_s(duty) * 1e6:.0f} µs earlier than when cold: let the rig run a few shots "
        f"before you measure.\n"
        f"- A clamp absorbs at most {results.clamp_joule * 1e3:.0f} mJ each time a simulated coil switches off; the "
        "table below has other coils. The clamp is rated for 0.6 J at once and 5 W.\n"
        f"- Highest drain voltage in all corners: {results.peak_v[(12.0, 36.0)]:.0f} V with a 12 V supply, "
        f"{results.peak_v[(24.0, 36.0)]:.0f} V with 24 V, of the 80 V that a 100 V transistor may see.\n"
        f"- A lamp may put up to {results.lamp_limit_a * 1e6:.0f} µA into a beam's receiver before "
        f"its 100 Hz ripple makes false "
        "edges (0.55 V at the test point with the emitter unplugged). Much less light than that already costs "
        "precision: see results/.\n\n" + coils_section()
    )


def coils_section() -> str:
    """Other coils than the studies': when they pull in and let go, clamp energy, and the gap that they need."""
    rows: list[dict[str, str | float]] = []
    for supply_v, ohm in itertools.product((12.0, 24.0), (24.0, 40.0, 60.0, 100.0)):
        if supply_v / ohm > CONDITIONS.valve_max_a:
            continue
        for henry in (0.02, 0.06, 0.15, 0.3):
            times = coil_times(ohm, henry, supply_v)
            rows.append(
                {
                    "supply, V": supply_v,
                    "coil, Ω": ohm,
                    "mH": henry * 1e3,
                    "pulls in, ms": " to ".join(f"{t * 1e3:.1f}" for t in times.pull_in_s),
                    "lets go, ms": " to ".join(f"{t * 1e3:.2f}" for t in times.let_go_s),
                    "clamp, mJ": round(times.clamp_j * 1e3, 1),
                    "`VALVE_GAP_US` at least": math.ceil(times.let_go_s[1] * 1e4) * 100,
                }
            )
    return (
        "## Your own coil\n\n"
        "Measure your coil's ohms. Its maker or an LCR meter gives you its inductance. `beamfall board limits --coil "
        '"24ohm,150mH" --supply "12 V"`\n'
        "says when it pulls in and lets go, and whether the board's limits fit. Where the last column is above the "
        "profile's `VALVE_GAP_US`,\n"
        "set that constant in a copy of the profile and install it with `--board FILE`. The figures come from formulas "
        "over all corners\n"
        "(host/beamfall/physics/coil.py), which agree with ngspice; a real valve's plunger and eddy currents make it "
        "slower.\n\n" + to_markdown(rows)
    )
