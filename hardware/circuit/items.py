"""What an item of the catalogue is, and how resistors and capacitors are written down."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from types import MappingProxyType


@dataclass(frozen=True)
class Item:
    """A kind of part: one line of the bill of materials.

    key: short name used by the netlist. value: what is printed beside the part in drawings. purpose: what it is for.
    cost: 'low' (cents), 'medium' (a few coins), 'high' (a note). bought: False for what is not a part to solder.
    """

    key: str
    kind: str
    value: str
    description: str
    package: str
    purpose: str
    substitutes: str
    cost: str
    ratings: Mapping[str, float] = field(default_factory=lambda: MappingProxyType({}))


def resistor(
    key: str, ohm: float, value: str, purpose: str, *, watt: float = 0.25, substitutes: str = ""
) -> Item:
    """A 1 % metal film resistor."""
    return Item(
        key,
        "resistor",
        value,
        f"resistor, metal film, 1 %, {watt:g} W",
        "axial, bent to the board's 10.16, 12.7 or 15.24 mm",
        purpose,
        substitutes or "5 % where nothing else is said; the next higher power",
        "low",
        {"ohm": ohm, "tol": 0.01, "watt": watt},
    )


def capacitor(key: str, farad: float, volt: float, value: str, package: str, purpose: str) -> Item:
    """A capacitor with its voltage rating."""
    return Item(
        key,
        "capacitor",
        value,
        f"capacitor, {'aluminium electrolytic' if farad > 1e-6 else 'ceramic X7R'}, {volt:g} V or more",
        package,
        purpose,
        "same value, higher voltage",
        "low",
        {"farad": farad, "volt": volt},
    )
