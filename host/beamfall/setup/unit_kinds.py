"""The kinds of quantities that people write, each with its units as exact factors.

Sources of the factors: SI brochure (9th edition); inch, foot, yard and the US fluid ounce are exact by definition
(NIST SP 811, appendix B).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal
from types import MappingProxyType


@dataclass(frozen=True)
class Kind:
    """A kind of quantity: its words, its SI unit, an example, and its fast table of units.

    `units` maps a unit to (factor, offset): SI value = (written value + offset) · factor.
    """

    name: str
    noun: str
    si_unit: str
    example: str
    units: Mapping[str, tuple[Decimal, Decimal]]


# For each kind: noun, SI unit, example.
_WORDS = {
    "length": ("a length", "m", "62 cm"),
    "mass": ("a mass", "kg", "2.1 g"),
    "duration": ("a time", "s", "3.2 ms"),
    "volume": ("a volume", "m^3", "40 uL"),
    "temperature": ("a temperature", "K", "20 degC"),
    "pressure": ("a pressure", "Pa", "1013 hPa"),
    "angle": ("an angle", "deg", "48.1 deg"),
    "speed": ("a speed", "m/s", "3.2 m/s"),
    "density": ("a density", "kg/m^3", "1030 kg/m^3"),
    "viscosity": ("a dynamic viscosity", "Pa*s", "1.8 mPa*s"),
    "surface_tension": ("a surface tension", "N/m", "45 mN/m"),
    "fraction": ("a share", "1", "2 %"),
    "resistance": ("a resistance", "ohm", "60 ohm"),
    "inductance": ("an inductance", "H", "150 mH"),
    "voltage": ("a voltage", "V", "12 V"),
}
# For each kind: the names of each unit, and its factor.
_FACTORS = {
    "length": {
        "m metre meter": "1",
        "dm": "0.1",
        "cm": "0.01",
        "mm": "0.001",
        "um µm μm": "1e-6",
        "nm": "1e-9",
        "km": "1000",
        'in inch inches " ″ ”': "0.0254",
        "ft foot feet ' ′ ’": "0.3048",
        "yd yard": "0.9144",
    },
    "mass": {"g gram grams": "0.001", "kg": "1", "mg": "1e-6", "oz ounces": "0.028349523125"},
    "duration": {
        "s sec second seconds": "1",
        "ms": "0.001",
        "us µs μs": "1e-6",
        "ns": "1e-9",
        "min minute minutes": "60",
        "h hour hours": "3600",
    },
    "volume": {
        "m^3 m³ m3": "1",
        "L l litre liter": "1e-3",
        "dL dl": "1e-4",
        "cL cl": "1e-5",
        "mL ml cm^3 cm³ cm3 cc": "1e-6",
        "uL ul µL µl μL μl mm^3 mm³ mm3": "1e-9",
        "nL nl": "1e-12",
    },
    "pressure": {"Pa": "1", "hPa mbar": "100", "kPa": "1000", "bar": "100000", "atm": "101325"},
    "angle": {"deg ° degree degrees": "1"},
    "speed": {"m/s": "1", "mm/ms": "1", "mm/s": "0.001", "cm/s": "0.01"},
    "density": {"kg/m^3 kg/m³ kg/m3 g/L g/l": "1", "g/cm^3 g/cm³ g/cm3 g/mL g/ml kg/L": "1000"},
    "viscosity": {"Pa*s Pa·s": "1", "mPa*s mPa·s cP": "0.001"},
    "surface_tension": {"N/m": "1", "mN/m dyn/cm": "0.001"},
    "fraction": {"%": "0.01"},
    "resistance": {"ohm ohms Ω Ω": "1", "kohm kΩ kΩ": "1000"},
    "inductance": {"H": "1", "mH": "0.001", "uH µH μH": "1e-6"},
    "voltage": {"V": "1", "mV": "0.001"},
}
_TEMPERATURES = {
    "K": (Decimal(1), Decimal(0)),
    **dict.fromkeys(("degC", "°C", "℃", "celsius", "C"), (Decimal(1), Decimal("273.15"))),
    **dict.fromkeys(
        ("degF", "°F", "fahrenheit", "F"), (Decimal(5) / Decimal(9), Decimal("459.67"))
    ),
}


def _list_units(kind: str) -> Mapping[str, tuple[Decimal, Decimal]]:
    if kind == "temperature":
        return _TEMPERATURES
    factors = _FACTORS[kind].items()
    return {name: (Decimal(one), Decimal(0)) for names, one in factors for name in names.split()}


KINDS: Mapping[str, Kind] = MappingProxyType(
    {
        name: Kind(name, *words, MappingProxyType(_list_units(name)))
        for name, words in _WORDS.items()
    }
)
