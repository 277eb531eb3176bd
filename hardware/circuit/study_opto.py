"""Flash output: how long after the buffer's edge the flash's contact is closed, for three kinds of contact."""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from circuit.formulas import junction_farad, optocoupler_delay_s
from circuit.netlist import build_circuit
from circuit.spice import run_deck

# Contacts of flashes (common practice, no source): open voltage, resistance behind it, capacitance, inductance
# behind it.
CONTACTS: dict[str, dict[str, float]] = {
    "6 V": {"vcontact": 6, "rcontact": 10e3, "ccontact": 100e-12, "lcontact": 1e-9, "fit": 0},
    "24 V": {"vcontact": 24, "rcontact": 47e3, "ccontact": 100e-12, "lcontact": 1e-9, "fit": 0},
    "300 V, thyristor": {
        "vcontact": 300,
        "rcontact": 1e6,
        "ccontact": 47e-9,
        "lcontact": 10e-6,
        "fit": 1,
    },
    "300 V, no thyristor": {
        "vcontact": 300,
        "rcontact": 1e6,
        "ccontact": 47e-9,
        "lcontact": 10e-6,
        "fit": 0,
    },
}
NOMINAL = {"vbuf": 5.0, "rbuf": 60.0, "ctr": 0.4, "gain": 400.0, "cbe": 20e-12, "cbc": 8e-12}
BASE_V = 0.65
LINK_OHM = 0.05  # a wire from K to G in the thyristor's socket, for contacts of low voltage
# Below this contact voltage a flash is sure to fire; half of its open voltage is what the study takes (our choice).
FIRE_SHARE = 0.5


@dataclass(frozen=True)
class OptoCase:
    """One run: kind of contact, corner, and the deck's parameters."""

    contact: str
    corner: str
    params: Mapping[str, float]

    def by_hand_s(self, led_a: float) -> float:
        """Turn-on delay in seconds from charge and light's current, for the LED current that flows."""
        p = self.params
        half_v = p["vcontact"] * FIRE_SHARE
        photo_a = p["ctr"] / p["gain"] * led_a
        swing_v = half_v if not p["fit"] else 0.0
        # Forward biased, the base-emitter junction has about 1.5 times its capacitance at zero volts.
        delay_s = optocoupler_delay_s(
            photo_a, 1.5 * p["cbe"], junction_farad(p["cbc"], p["vcontact"] * 0.75), BASE_V, swing_v
        )
        # With a thyristor the trigger capacitor swings into the trigger coil: half its voltage is gone at
        # cos(wt) = 1/2.
        return delay_s + (
            math.pi / 3 * math.sqrt(p["lcontact"] * p["ccontact"]) if p["fit"] else 0.0
        )


def _fixed() -> dict[str, float]:
    circuit = build_circuit()
    return {
        "rled": circuit.part("R210").item.ratings["ohm"],
        "rserie": circuit.part("R213").item.ratings["ohm"],
        "width": 1e-3,
    }


def _gate(contact: Mapping[str, float]) -> dict[str, float]:
    """From gate to cathode: the resistor with a thyristor in the socket, else the wire link."""
    ohm = build_circuit().part("R212").item.ratings["ohm"]
    return {"rgk": ohm if contact["fit"] else LINK_OHM}


def nominal_cases() -> Iterator[OptoCase]:
    """Every kind of contact with nominal parts."""
    for name, contact in CONTACTS.items():
        yield OptoCase(name, "nominal", {**contact, **NOMINAL, **_fixed(), **_gate(contact)})


def corner_cases() -> Iterator[OptoCase]:
    """All corners of LED drive, transfer ratio, gain and capacitance, for the contacts that can fire."""
    drives = ({"vbuf": 4.3, "rbuf": 110.0}, {"vbuf": 5.25, "rbuf": 33.0})
    sizes = ({"cbe": 14e-12, "cbc": 5e-12}, {"cbe": 30e-12, "cbc": 12e-12})
    for name, contact in CONTACTS.items():
        if name == "300 V, no thyristor":
            continue
        for n, (drive, ctr, gain, size) in enumerate(
            itertools.product(drives, (0.2, 1.0), (200.0, 600.0), sizes)
        ):
            params = {
                **contact,
                **drive,
                "ctr": ctr,
                "gain": gain,
                **size,
                **_fixed(),
                **_gate(contact),
            }
            yield OptoCase(name, f"corner {n}", params)


def one_rig_cases() -> Iterator[OptoCase]:
    """One rig over time: the transfer ratio varies by 10 % either way with temperature, the 5 V rail by 2 %."""
    for name, contact in CONTACTS.items():
        if name != "300 V, no thyristor":
            for n, (ratio, rail) in enumerate(((0.9, 0.98), (1.1, 1.02))):
                change = {"ctr": NOMINAL["ctr"] * ratio, "vbuf": NOMINAL["vbuf"] * rail}
                yield OptoCase(
                    name,
                    f"drift {n}",
                    {**contact, **NOMINAL, **_fixed(), **_gate(contact), **change},
                )


def run_case(case: OptoCase) -> dict[str, float]:
    """Seconds, volts and amperes; `t_on` is missing when the contact never falls to half, `t_off` when it
    recharges later.
    """
    return dict(run_deck("optocoupler", case.params, optional=["t_on", "t_off"]).measured)
