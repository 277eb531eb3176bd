"""The kinds of part in the circuit: what each must be able to do. Generic descriptions, no brand.

Each item is one line of the bill of materials. `ratings` holds what the rule checks and the circuit studies use, in SI
units; tolerances are fractions. Ratings are demands on the part to buy: a part that is better in them will do.
Where a figure is a habit of the trade and not a demand, the comment says 'common practice, no source'.
"""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

from circuit.catalogue_active import ACTIVE_ITEMS
from circuit.catalogue_outside import OUTSIDE_ITEMS
from circuit.catalogue_passive import PASSIVE_ITEMS
from circuit.items import Item

ITEMS: Mapping[str, Item] = MappingProxyType(
    {item.key: item for item in (*PASSIVE_ITEMS, *ACTIVE_ITEMS, *OUTSIDE_ITEMS)}
)

# What each pin is called on the part's own drawing. Parts with two equal ends have pins 1 and 2.
PIN_NAMES: Mapping[str, Mapping[str, str]] = MappingProxyType(
    {
        "BUF541": {
            "1": "OE1",
            "19": "OE2",
            "10": "GND",
            "20": "VCC",
            **{str(1 + n): f"A{n}" for n in range(1, 9)},
            **{str(19 - n): f"Y{n}" for n in range(1, 9)},
        },
        "COMP4": {
            "1": "OUT2",
            "2": "OUT1",
            "3": "VCC",
            "4": "IN1-",
            "5": "IN1+",
            "6": "IN2-",
            "7": "IN2+",
            "8": "IN3-",
            "9": "IN3+",
            "10": "IN4-",
            "11": "IN4+",
            "12": "GND",
            "13": "OUT4",
            "14": "OUT3",
        },
        "OPAMP2": {
            "1": "OUT1",
            "2": "IN1-",
            "3": "IN1+",
            "4": "GND",
            "5": "IN2+",
            "6": "IN2-",
            "7": "OUT2",
            "8": "VCC",
        },
        "OPTO400": {"1": "A", "2": "K", "3": "NC", "4": "E", "5": "C", "6": "B"},
        "OPTO35": {"1": "A", "2": "K", "3": "E", "4": "C"},
    }
)

# Pads that go by a function: pad number to the name that rules and tables use.
_DIODE = {"1": "K", "2": "A"}
_MOSFET = {"1": "G", "2": "D", "3": "S"}
_POLAR = {"1": "+", "2": "-"}
PAD_PINS: Mapping[str, Mapping[str, str]] = MappingProxyType(
    {
        **dict.fromkeys(
            ("DRECT", "DSCH", "DSIG", "Z12", "TVS28", "TVS36", "LEDG", "LEDIR", "PDIODE"), _DIODE
        ),
        **dict.fromkeys(("NMOS100", "PMOS60"), _MOSFET),
        **dict.fromkeys(("C1000U", "C100U", "C10U", "JDC"), _POLAR),
        "NPN": {"1": "E", "2": "B", "3": "C"},
        "SCR": {"1": "K", "2": "G", "3": "A"},
        "PTRANS": {"1": "C", "2": "E"},
        "BRIDGE": {"1": "+", "2": "-", "3": "~1", "4": "~2"},
        "BUCK5": {"1": "IN", "2": "GND", "3": "OUT"},
    }
)
