"""Quantities as people write them, to SI and back: `62 cm`, `24 in`, `3.2 ms`, `40 uL`.

Inside Beamfall every quantity is an SI float; only at its edges, in rig files, sequence files and
options, do people write units. A number with no unit is refused: `delay = 3.2` could be seconds or
milliseconds, and the difference empties a bottle.

The units that rigs are measured in stand in a small table of exact factors, so that reading a file
costs nothing; `pint`, which takes a quarter of a second to import, is asked only for other units.
Sources of the factors: SI brochure (9th edition); inch, foot, yard and the US fluid ounce are
exact by definition (NIST SP 811, appendix B).
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from decimal import ROUND_HALF_EVEN, Decimal, DecimalException
from functools import cache
from types import MappingProxyType
from typing import Any

from beamfall.errors import UnitError


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


def _factors(entries: Mapping[str, str]) -> Mapping[str, tuple[Decimal, Decimal]]:
    zero = Decimal(0)
    return MappingProxyType(
        {unit: (Decimal(factor), zero) for key, factor in entries.items() for unit in key.split()}
    )


_ONE = Decimal(1)

KINDS: Mapping[str, Kind] = MappingProxyType(
    {
        kind.name: kind
        for kind in (
            Kind(
                "length",
                "a length",
                "m",
                "62 cm",
                _factors(
                    {
                        "m metre meter": "1",
                        "dm": "0.1",
                        "cm": "0.01",
                        "mm": "0.001",
                        "um µm μm": "1e-6",
                        "nm": "1e-9",
                        "km": "1000",
                        "in inch inches": "0.0254",
                        "ft foot feet": "0.3048",
                        "yd yard": "0.9144",
                    }
                ),
            ),
            Kind(
                "duration",
                "a time",
                "s",
                "3.2 ms",
                _factors(
                    {
                        "s sec second seconds": "1",
                        "ms": "0.001",
                        "us µs μs": "1e-6",
                        "ns": "1e-9",
                        "min minute minutes": "60",
                        "h hour hours": "3600",
                    }
                ),
            ),
            Kind(
                "volume",
                "a volume",
                "m^3",
                "40 uL",
                _factors(
                    {
                        "m^3 m³ m3": "1",
                        "L l litre liter": "1e-3",
                        "dL dl": "1e-4",
                        "cL cl": "1e-5",
                        "mL ml cm^3 cm³ cm3 cc": "1e-6",
                        "uL ul µL µl μL μl mm^3 mm³ mm3": "1e-9",
                        "nL nl": "1e-12",
                    }
                ),
            ),
            Kind(
                "temperature",
                "a temperature",
                "K",
                "20 degC",
                MappingProxyType(
                    {
                        "K": (_ONE, Decimal(0)),
                        **dict.fromkeys(
                            ("degC", "°C", "℃", "celsius", "C"), (_ONE, Decimal("273.15"))
                        ),
                        **dict.fromkeys(
                            ("degF", "°F", "fahrenheit", "F"),
                            (Decimal(5) / Decimal(9), Decimal("459.67")),
                        ),
                    }
                ),
            ),
            Kind(
                "pressure",
                "a pressure",
                "Pa",
                "1013 hPa",
                _factors(
                    {
                        "Pa": "1",
                        "hPa mbar": "100",
                        "kPa": "1000",
                        "bar": "100000",
                        "atm": "101325",
                    }
                ),
            ),
            Kind(
                "angle",
                "an angle",
                "deg",
                "48.1 deg",
                _factors({"deg ° degree degrees": "1"}),
            ),
            Kind(
                "speed",
                "a speed",
                "m/s",
                "3.2 m/s",
                _factors({"m/s": "1", "mm/ms": "1", "mm/s": "0.001", "cm/s": "0.01"}),
            ),
            Kind(
                "density",
                "a density",
                "kg/m^3",
                "1030 kg/m^3",
                _factors(
                    {"kg/m^3 kg/m³ kg/m3 g/L g/l": "1", "g/cm^3 g/cm³ g/cm3 g/mL g/ml kg/L": "1000"}
                ),
            ),
            Kind(
                "viscosity",
                "a dynamic viscosity",
                "Pa*s",
                "1.8 mPa*s",
                _factors({"Pa*s Pa·s": "1", "mPa*s mPa·s cP": "0.001"}),
            ),
            Kind(
                "surface_tension",
                "a surface tension",
                "N/m",
                "45 mN/m",
                _factors({"N/m": "1", "mN/m dyn/cm": "0.001"}),
            ),
            Kind("fraction", "a share", "1", "2 %", _factors({"%": "0.01"})),
        )
    }
)

_NUMBER = re.compile(r"\s*([+-]?(?:\d+(?:_\d+)*\.?\d*|\.\d+)(?:[eE][+-]?\d+)?)\s*(\S.*?)?\s*")
# What is handed on to pint: names, each with at most a one-figure power, multiplied or divided.
_UNIT = re.compile(r"[^\W\d]+(?:(?:\^|\*\*)-?\d)?(?:[*/ ][^\W\d]+(?:(?:\^|\*\*)-?\d)?)*")
_SPACES_ABOUT_OPERATOR = re.compile(r"\s*([*/·^])\s*")


def parse_quantity(text: object, kind: str, *, key: str = "") -> float:
    """Read `text` as a quantity of `kind` (a key of KINDS) and return it in that kind's SI unit.

    The result is the float nearest to the decimal number written: `parse_quantity("3.2 ms",
    "duration") == 0.0032`. Angles come in degrees, as maps and the physics have them.
    `key` is what the caller calls the value; the message of an error starts with it.
    Raises UnitError for a missing, unknown or unfitting unit and for what is no number.
    """
    known = KINDS[kind]
    where = f"{key} = " if key else ""
    if not isinstance(text, str):
        raise UnitError(_describe_bare(text, known, where))
    match = _NUMBER.fullmatch(text)
    with_comma = re.match(r"\s*[+-]?\d*,\d", text)
    if match is None or with_comma:
        comma = " (write a decimal point, not a comma)" if with_comma else ""
        raise UnitError(
            f'{where}"{text}" is not {known.noun}{comma}; write a number and a unit, '
            f'such as "{known.example}"'
        )
    number, unit = match.group(1), match.group(2)
    if unit is None:
        raise UnitError(_describe_bare(number, known, where))
    unit = _SPACES_ABOUT_OPERATOR.sub(r"\1", unit)
    entry = known.units.get(unit)
    try:
        if entry is None:
            value = _ask_pint(text, number, unit, known, where)
        else:
            factor, offset = entry
            value = float((Decimal(number) + offset) * factor)
    except (DecimalException, OverflowError):
        value = math.inf
    if not math.isfinite(value):
        raise UnitError(
            f'{where}"{text}" is beyond what a number here can hold; check its exponent'
        )
    return value


def parse_length(text: object, *, key: str = "") -> float:
    """Read a length such as `62 cm` or `24 in`; metres. Raises UnitError."""
    return parse_quantity(text, "length", key=key)


def parse_duration(text: object, *, key: str = "") -> float:
    """Read a time such as `3.2 ms`; seconds. Raises UnitError."""
    return parse_quantity(text, "duration", key=key)


def parse_volume(text: object, *, key: str = "") -> float:
    """Read a volume such as `40 uL`; cubic metres. Raises UnitError."""
    return parse_quantity(text, "volume", key=key)


def parse_temperature(text: object, *, key: str = "") -> float:
    """Read a temperature such as `20 degC`; kelvin. Raises UnitError."""
    return parse_quantity(text, "temperature", key=key)


def parse_pressure(text: object, *, key: str = "") -> float:
    """Read a pressure such as `1013 hPa`; pascal. Raises UnitError."""
    return parse_quantity(text, "pressure", key=key)


def parse_angle(text: object, *, key: str = "") -> float:
    """Read an angle such as `48.1 deg`; degrees (not radians). Raises UnitError."""
    return parse_quantity(text, "angle", key=key)


def to_ticks(seconds: float, clock_hz: int) -> int:
    """Turn seconds into the nearest whole number of ticks of a clock; halves go to the even number.

    The float is taken as the shortest decimal that prints as it, so that 0.0032 s of a 125 MHz
    clock are 400,000 ticks and not the tick beside.
    """
    exact = Decimal(repr(float(seconds))) * clock_hz
    return int(exact.to_integral_value(rounding=ROUND_HALF_EVEN))


def from_ticks(ticks: int, clock_hz: int) -> float:
    """Turn ticks of a clock into seconds."""
    return ticks / clock_hz


def format_ms(seconds: float, digits: int = 3) -> str:
    """Seconds as milliseconds with unit: `3.200 ms`."""
    return f"{seconds * 1e3:.{digits}f} ms"


def format_ticks(ticks: int | None, clock_hz: int, digits: int = 3) -> str:
    """Ticks of a clock as milliseconds with unit; `-` for None."""
    return "-" if ticks is None else format_ms(ticks / clock_hz, digits)


def format_duration(seconds: float) -> str:
    """A time in the unit that reads best, four figures: `3.2 ms`, `250 µs`, `12.5 s`."""
    return _format_scaled(seconds, ((1.0, "s"), (1e-3, "ms"), (1e-6, "µs"), (1e-9, "ns")))


def format_length(metres: float) -> str:
    """A length in the unit that reads best, four figures: `62 cm`, `2 mm`, `4 µm`."""
    return _format_scaled(metres, ((1.0, "m"), (1e-2, "cm"), (1e-3, "mm"), (1e-6, "µm")))


def format_volume(cubic_metres: float) -> str:
    """A volume in the unit that reads best, four figures: `33.5 µL`."""
    return _format_scaled(cubic_metres, ((1e-3, "L"), (1e-6, "mL"), (1e-9, "µL"), (1e-12, "nL")))


def format_quantity(value: float, kind: str) -> str:
    """A quantity of `kind` in SI (angles in degrees) as people read it, with unit."""
    formats: dict[str, Callable[[float], str]] = {
        "length": format_length,
        "duration": format_duration,
        "volume": format_volume,
        "temperature": lambda value: f"{value - 273.15:.4g} °C",
        "pressure": lambda value: f"{value / 100:.5g} hPa",
        "angle": lambda value: f"{value:.5g}°",
        "fraction": lambda value: f"{value * 100:.4g} %",
        "viscosity": lambda value: f"{value * 1e3:.4g} mPa·s",
        "surface_tension": lambda value: f"{value * 1e3:.4g} mN/m",
    }
    if kind in formats:
        return formats[kind](value)
    return f"{value:.4g} {KINDS[kind].si_unit}"


def _format_scaled(value: float, scales: tuple[tuple[float, str], ...]) -> str:
    for factor, unit in scales:
        if abs(value) >= factor * (1 - 1e-9):
            return f"{value / factor:.4g} {unit}"
    factor, unit = scales[-1]
    return f"{value / factor:.4g} {unit}" if value else f"0 {scales[0][1]}"


def _describe_bare(number: object, kind: Kind, where: str) -> str:
    if isinstance(number, bool) or not isinstance(number, str | int | float):
        return f'{where}{number!r} is not {kind.noun}; write it as text, such as "{kind.example}"'
    unit = kind.example.split(maxsplit=1)[1]
    return (
        f'{where}{number} has no unit; write {kind.noun} with its unit, such as "{number} {unit}"'
    )


def _ask_pint(text: str, number: str, unit: str, kind: Kind, where: str) -> float:
    """Convert a unit that the fast table does not have; refuse what does not fit."""
    for other in KINDS.values():
        if other is not kind and unit in other.units:
            raise UnitError(
                f'{where}"{text}" is {other.noun}, not {kind.noun}; '
                f'write one such as "{kind.example}"'
            )
    refusal = (
        f'{where}"{text}": {{problem}}; write {kind.noun} such as "{kind.example}" '
        f"(known at once: {', '.join(list(kind.units)[:8])})"
    )
    unknown = refusal.format(problem=f'the unit "{unit}" is not known')
    if len(unit) > 40 or not _UNIT.fullmatch(unit):
        raise UnitError(unknown)
    registry = _get_registry()
    try:
        parsed = registry.parse_units(unit.replace("·", "*"))
    except Exception as error:  # pint raises errors of many kinds for text it cannot read
        raise UnitError(unknown) from error
    target = registry.parse_units("" if kind.si_unit == "1" else kind.si_unit)
    if parsed.dimensionality != target.dimensionality:
        raise UnitError(refusal.format(problem=f'"{unit}" is not a unit of {kind.noun}'))
    return float(registry.Quantity(float(number), parsed).to(target).magnitude)


@cache
def _get_registry() -> Any:
    import pint  # takes 0.2 s, and few rigs are measured in such units

    return pint.UnitRegistry(autoconvert_offset_to_baseunit=True)
