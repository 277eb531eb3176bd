"""Beam receiver: edges of a 4 mm drop at 1.6 m/s, lamp flicker at 100 Hz, and the flash's own light."""

from __future__ import annotations

import itertools
from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from circuit.formulas import beam_edge_s, junction_farad
from circuit.netlist import build_circuit
from circuit.spice import Run, run_deck

DROP_M = 4e-3
DROP_SPEED = 1.6
SLIT_M = 1e-3
# Photocurrents of a lamp in the receiver, in amperes: dark hood and filter, a lit room, a lamp shining in.
LAMPS_A = {"hooded": 5e-6, "lit room": 20e-6, "lamp shines in": 50e-6}
FLASH_A = 5e-3
FLASH_S = 0.3e-3
MARGIN_STEP_A = 5e-6


@dataclass(frozen=True)
class BeamCase:
    """One run: its name and the deck's parameters."""

    name: str
    params: Mapping[str, float]

    def by_hand_s(self, threshold_low_v: float, threshold_high_v: float) -> tuple[float, float]:
        """Dark and clear edge after half shadow in seconds, from the first-order lag. No ambient light."""
        p = self.params
        edges = []
        for darkening, threshold in ((True, threshold_low_v), (False, threshold_high_v)):
            # The collector-base junction is reverse biased by about supply - output - base-emitter voltage.
            junction = junction_farad(p["cbc"], max(0.0, p["v3"] - threshold - 0.65))
            tau_s = p["gain"] * p["rload"] * junction
            edge = beam_edge_s(
                p["vclear"],
                threshold - p["voffset"],
                tau_s,
                p["v"],
                p["w"],
                p["leak"],
                darkening=darkening,
            )
            edges.append(edge + p["tcomp"])
        return edges[0], edges[1]


def _params(**change: float) -> dict[str, float]:
    circuit = build_circuit()

    def ohm(ref: str) -> float:
        return circuit.part(ref).item.ratings["ohm"]

    return {
        "v3": 3.3,
        "vclear": 2.4,
        "rload": ohm("R410"),
        "rtop": ohm("R411"),
        "rbottom": ohm("R412"),
        "rhyst": ohm("R413"),
        "rpull": ohm("R414"),
        "gain": 400.0,
        "cbc": 12e-12,
        "voffset": 0.0,
        "tcomp": 1.3e-6,
        "d": DROP_M,
        "w": SLIT_M,
        "v": DROP_SPEED,
        "leak": 0.05,
        **change,
    }


def nominal_case() -> BeamCase:
    """Everything nominal, no lamp, no flash."""
    return BeamCase("nominal", _params())


def corner_cases() -> Iterator[BeamCase]:
    """Corners of receiver speed, clear level, supply, comparator, light that passes the drop; resistors at 1 %."""
    receivers = ({"gain": 200.0, "cbc": 8e-12}, {"gain": 800.0, "cbc": 16e-12})
    thresholds = (
        {"rtop": 22e3 * 1.01, "rbottom": 10e3 * 0.99},
        {"rtop": 22e3 * 0.99, "rbottom": 10e3 * 1.01},
    )
    for n, (receiver, clear, v3, offset, leak, arms) in enumerate(
        itertools.product(receivers, (2.2, 2.6), (3.2, 3.4), (-5e-3, 5e-3), (0.0, 0.1), thresholds)
    ):
        change = {"vclear": clear, "v3": v3, "voffset": offset, "leak": leak, **receiver, **arms}
        yield BeamCase(f"corner {n}", _params(**change))


def lamp_cases() -> Iterator[tuple[str, BeamCase]]:
    """The nominal receiver under lamps of three strengths, eight phases of the 100 Hz each."""
    for lamp, current in LAMPS_A.items():
        for eighth in range(8):
            change = {"iamb": current, "phase": eighth * 0.7853981634}
            yield lamp, BeamCase(f"{lamp}, phase {eighth}", _params(**change))


def flash_case(*, dark: bool) -> BeamCase:
    """A flash of 0.3 ms whose light reaches the receiver: while the drop is in the beam, or while the beam is clear."""
    start = 6e-3 if dark else 9e-3
    change = {"iflash": FLASH_A, "tflash": FLASH_S, "tflash0": start, "t0": 5e-3}
    return BeamCase("flash while dark" if dark else "flash while clear", _params(**change))


def run_case(case: BeamCase) -> Run:
    """The deck's run with the output and the receiver's voltage as waveforms."""
    return run_deck(
        "beam", case.params, ["v(out)", "v(sig)", "v(sh)", "v(thr)"], optional=["t_dark", "t_clear"]
    )


def lamp_limit_a() -> float:
    """Largest lamp current in amperes (steps of 5 µA) at which every phase still gives one dark pulse per drop."""
    current = 0.0
    while current < 300e-6:
        trial = current + MARGIN_STEP_A
        for eighth in range(8):
            run = run_case(BeamCase("limit", _params(iamb=trial, phase=eighth * 0.7853981634)))
            if run.rises("v(out)", 1.65) != 1:
                return current
        current = trial
    return current


def flash_recovery_s(run: Run) -> float:
    """How long after the end of the flash's light the output is wrong, in seconds (0 when it is never wrong)."""
    end = 6e-3 + FLASH_S + 25e-6
    wrong = (run.waves["v(out)"] < 1.65) & (run.time_s > end) & (run.waves["v(sh)"] < 0.5)
    return float(run.time_s[wrong].max() - end) if wrong.any() else 0.0
