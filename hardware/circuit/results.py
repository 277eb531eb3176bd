"""Runs all circuit studies and puts their results and the main figures into tables."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from circuit import study_beam, study_opto, study_valve
from circuit.tables import to_markdown

Row = Mapping[str, str | float]
# How exact the firmware is on the RP2040: one or a few cycles of its clock, by the port's design. Measured figures are
# in firmware/.
FIRMWARE_NS = (16.0, 50.0)


@dataclass(frozen=True)
class Spread:
    """Nominal, least and greatest of a time, in seconds."""

    nominal_s: float
    least_s: float
    greatest_s: float

    @property
    def range_s(self) -> float:
        """Greatest less least."""
        return self.greatest_s - self.least_s


@dataclass(frozen=True)
class Results:
    """All results of the studies. Times in seconds, keyed as the field says."""

    valve_rows: Sequence[Row]
    opto_rows: Sequence[Row]
    beam_rows: Sequence[Row]
    closing: Mapping[tuple[float, float], Spread]  # (supply, clamp) -> between rigs
    closing_drift: Mapping[tuple[float, float], Spread]  # the same, within one rig
    opening: Mapping[float, Spread]  # supply -> with the 36 V clamp, between rigs
    peak_v: Mapping[tuple[float, float], float]
    clamp_joule: float
    opto_on: Mapping[str, Spread]
    opto_on_drift: Mapping[str, Spread]
    opto_off_worst_s: float
    beam_dark: Spread
    beam_clear: Spread
    lamp_dark: Mapping[str, Spread]
    lamp_limit_a: float
    flash_recovery_s: float


def _spread(nominal_s: float, values: Iterable[float]) -> Spread:
    times = [*values, nominal_s]
    return Spread(nominal_s, min(times), max(times))


def run_studies() -> Results:
    """Runs every deck in every corner (about 20 s)."""
    valve = _run_valve()
    opto = _run_opto()
    beam = _run_beam()
    return Results(**valve, **opto, **beam)  # type: ignore[arg-type]


def _run_valve() -> dict[str, object]:
    rows: list[Row] = []
    by_key: dict[tuple[float, float], dict[str, list[dict[str, float]]]] = {}
    groups = (study_valve.nominal_cases(), study_valve.corner_cases(), study_valve.one_rig_cases())
    for case in (case for group in groups for case in group):
        measured = study_valve.run_case(case)
        by_hand = case.by_hand()
        kind = case.corner.split()[0]
        by_key.setdefault((case.supply_v, case.clamp_v), {}).setdefault(kind, []).append(measured)
        rows.append(
            {
                "supply_V": case.supply_v,
                "clamp": study_valve.CLAMP_NAMES[case.clamp_v],
                "case": case.corner,
                "closing_us": measured["t_hold"] * 1e6,
                "closing_by_hand_us": by_hand["t_hold"] * 1e6,
                "opening_us": measured["t_pull"] * 1e6 if "t_pull" in measured else "never",
                "settled_mA": measured["i_end"] * 1e3,
                "drain_peak_V": measured["v_peak"],
                "clamp_energy_mJ": measured["e_clamp"] * 1e3,
            }
        )

    def times(key: tuple[float, float], kind: str, name: str) -> list[float]:
        return [run[name] for run in by_key[key][kind]]

    keys = list(by_key)
    best = max(clamp for _, clamp in keys)
    return {
        "valve_rows": rows,
        "closing": {
            k: _spread(times(k, "nominal", "t_hold")[0], times(k, "corner", "t_hold")) for k in keys
        },
        "closing_drift": {
            k: _spread(times(k, "nominal", "t_hold")[0], times(k, "drift", "t_hold")) for k in keys
        },
        "opening": {
            supply: _spread(
                times((supply, clamp), "nominal", "t_pull")[0],
                times((supply, clamp), "corner", "t_pull"),
            )
            for supply, clamp in keys
            if clamp == best
        },
        "peak_v": {k: max(times(k, "corner", "v_peak")) for k in keys},
        "clamp_joule": max(run["e_clamp"] for key in keys for run in by_key[key]["corner"]),
    }


def _run_opto() -> dict[str, object]:
    rows: list[Row] = []
    on: dict[str, dict[str, list[float]]] = {}
    off: list[float] = []
    groups = (study_opto.nominal_cases(), study_opto.corner_cases(), study_opto.one_rig_cases())
    for case in (case for group in groups for case in group):
        measured = study_opto.run_case(case)
        fired = "t_on" in measured
        if fired:
            on.setdefault(case.contact, {}).setdefault(case.corner.split()[0], []).append(
                measured["t_on"]
            )
        if "t_off" in measured:
            off.append(measured["t_off"])
        rows.append(
            {
                "contact": case.contact,
                "case": case.corner,
                "transfer_ratio": case.params["ctr"],
                "gain": case.params["gain"],
                "led_mA": measured["i_led"] * 1e3,
                "delay_us": measured["t_on"] * 1e6 if fired else "does not fire",
                "delay_by_hand_us": case.by_hand_s(measured["i_led"]) * 1e6 if fired else "",
                "opens_after_us": measured["t_off"] * 1e6 if "t_off" in measured else "",
                "closed_V": measured["v_closed"],
                "peak_A": measured["i_peak"],
            }
        )
    return {
        "opto_rows": rows,
        "opto_on": {
            name: _spread(kinds["nominal"][0], kinds["corner"]) for name, kinds in on.items()
        },
        "opto_on_drift": {
            name: _spread(kinds["nominal"][0], kinds["drift"]) for name, kinds in on.items()
        },
        "opto_off_worst_s": max(off),
    }


def _run_beam() -> dict[str, object]:
    rows: list[Row] = []
    dark: list[float] = []
    clear: list[float] = []
    lamps: dict[str, list[float]] = {}
    nominal = study_beam.nominal_case()
    corners = [nominal, *study_beam.corner_cases()]
    lamp_cases = list(study_beam.lamp_cases())
    for lamp, case in [("none", case) for case in corners] + lamp_cases:
        run = study_beam.run_case(case)
        hand = case.by_hand_s(run["thr_low"], run["thr_high"]) if lamp == "none" else None
        if lamp == "none":
            dark.append(run["t_dark"])
            clear.append(run["t_clear"])
        else:
            lamps.setdefault(lamp, []).append(run["t_dark"])
        rows.append(
            {
                "case": case.name,
                "lamp_uA": case.params.get("iamb", 0.0) * 1e6,
                "dark_edge_us": run["t_dark"] * 1e6,
                "dark_by_hand_us": hand[0] * 1e6 if hand else "",
                "clear_edge_us": run["t_clear"] * 1e6,
                "clear_by_hand_us": hand[1] * 1e6 if hand else "",
                "clear_V": run["v_clear"],
                "dark_V": run["v_dark"],
                "threshold_low_V": run["thr_low"],
                "threshold_high_V": run["thr_high"],
                "dark_pulses": run.rises("v(out)", 1.65),
            }
        )
    recovery = 0.0
    for is_dark in (True, False):
        case = study_beam.flash_case(dark=is_dark)
        run = study_beam.run_case(case)
        recovery = max(recovery, study_beam.flash_recovery_s(run) if is_dark else 0.0)
        rows.append(
            {
                "case": case.name,
                "dark_pulses": run.rises("v(out)", 1.65),
                "dark_edge_us": run["t_dark"] * 1e6,
            }
        )
    return {
        "beam_rows": rows,
        "beam_dark": _spread(dark[0], dark),
        "beam_clear": _spread(clear[0], clear),
        "lamp_dark": {
            lamp: Spread(dark[0], min(times), max(times)) for lamp, times in lamps.items()
        },
        "lamp_limit_a": study_beam.lamp_limit_a(),
        "flash_recovery_s": recovery,
    }


def figures(results: Results) -> list[Row]:
    """The timings that matter, side by side, in microseconds."""
    rows: list[Row] = []

    def add(what: str, spread: Spread, drift: Spread | None) -> None:
        rows.append(
            {
                "what": what,
                "nominal_us": spread.nominal_s * 1e6,
                "least_us": spread.least_s * 1e6,
                "greatest_us": spread.greatest_s * 1e6,
                "between_rigs_us": spread.range_s * 1e6,
                "within_one_rig_us": drift.range_s * 1e6 if drift else "",
            }
        )

    for key, spread in results.closing.items():
        name = f"valve closes, {key[0]:g} V, {study_valve.CLAMP_NAMES[key[1]]}"
        add(name, spread, results.closing_drift[key])
    for supply, spread in results.opening.items():
        add(f"valve pulls in, {supply:g} V", spread, None)
    add("beam becomes dark, after half shadow", results.beam_dark, results.lamp_dark["hooded"])
    add("beam becomes clear, after half light", results.beam_clear, None)
    for lamp, spread in results.lamp_dark.items():
        add(f"beam becomes dark, under a lamp: {lamp}", spread, spread)
        rows[-1] = {**rows[-1], "nominal_us": "", "between_rigs_us": ""}
    for contact, spread in results.opto_on.items():
        add(f"flash contact closes, {contact}", spread, results.opto_on_drift[contact])
    low, high = (ns * 1e-3 for ns in FIRMWARE_NS)
    rows.append(
        {
            "what": "firmware: edge to output (RP2040 port)",
            "nominal_us": "",
            "least_us": low,
            "greatest_us": high,
            "between_rigs_us": high - low,
            "within_one_rig_us": high - low,
        }
    )
    return rows


def _three_digits(value: str | float) -> str | float:
    return value if isinstance(value, str) else float(f"{value:.3g}")


def results_page(results: Results) -> str:
    """results/README.md: the figures side by side, and what they say."""
    rows = [{key: _three_digits(value) for key, value in row.items()} for row in figures(results)]
    closing = results.closing[(12.0, 36.0)]
    drift = results.closing_drift[(12.0, 36.0)]
    plain = results.closing[(12.0, 0.0)]
    beam, opto = results.lamp_dark["hooded"], results.opto_on["6 V"]
    return f"""# What the circuit does to the timing

Made by `python hardware/make.py` from the decks in spice/: do not edit. These are simulations with the ranges
in the parts' data sheets, not measurements on a built controller. Times in microseconds. *Between rigs* is the
whole range over all corners (supply ±5 %, coil resistance ±10 % and 60 K of warming, inductance ±20 %, clamp
±5 %, let-go current 15 to 35 %, receivers and optocouplers from slow to fast). *Within one rig* is what remains
when the parts stay the same and only the temperature, the supply (±1 %) or a lamp's ripple changes.

{to_markdown(rows)}
What this means:

- **The valve dominates.** With the 36 V clamp a 12 V valve lets go {
        closing.nominal_s * 1e6:.0f} µs after its
  edge. Between two rigs this may
  differ by {closing.range_s * 1e6:.0f} µs, and in one rig by {
        drift.range_s * 1e6:.0f} µs between cold and
  warm. With a plain diode it would be {plain.nominal_s * 1e6:.0f} µs.
  The travel of the plunger and of the drop come on top: the beam measures them, so they are not calculated here.
- **The beam comes next.** Its edge follows half shadow by {
        results.beam_dark.nominal_s * 1e6:.0f} µs.
  This differs from rig to rig but is the same from drop to drop, so calibrating the rig
  removes it. What remains is a lamp's ripple: {beam.range_s * 1e6:.0f} µs with hoods and
  filters, {results.lamp_dark["lit room"].range_s * 1e6:.0f} µs in a lit room. Work in the dark.
- **The flash's optocoupler** adds {opto.nominal_s * 1e6:.0f} µs (at most {
        max(s.greatest_s for s in results.opto_on.values())
        * 1e6:.0f} µs), and changes by about 1 µs in one rig.
- **The firmware** adds {FIRMWARE_NS[0]:.0f} to {
        FIRMWARE_NS[1]:.0f} ns: about a hundredth of the optocoupler's
  delay, a thousandth of the beam's. A faster microcontroller would change nothing.
- An old flash whose contact carries 300 V does not fire through the transistor alone: its trigger capacitor
  only falls to about
  {
        next(
            float(row["closed_V"])
            for row in results.opto_rows
            if row["contact"] == "300 V, no thyristor"
        ):.0f} V
  in a millisecond. With the thyristor it is empty in about 3 µs.
- A closed contact still has about 1.2 V across it (two bridge diodes and the transistor; the thyristor's socket has
  its wire link). Flashes with 5 V or more on their contact see that as
  closed; one with 3.3 V may not. For such a flash, fit a bridge of four Schottky diodes (1 A, 60 V or more), and then
  use that output for contacts up to 48 V only.

valve.csv, optocoupler.csv and beam.csv hold every corner beside its hand formula; figures.csv is the
table above.

![valve](valve.png)
![optocoupler](optocoupler.png)
![beam](beam.png)
"""
