"""Quantities as people write them, to SI and back: `62 cm`, `24 in`, `3.2 ms`, `40 uL`.

Inside Beamfall every quantity is an SI float; only at its edges, in rig files, sequence files and
options, do people write units. A number with no unit is refused: `delay = 3.2` could be seconds or
milliseconds, and the difference empties a bottle.

The small table of exact factors in `unit_kinds` covers the units that rigs are measured in, so that reading a file
is quick; `pint`, which takes a quarter of a second to import, is loaded only for other units.
"""

from __future__ import annotations

import math
import re
import reprlib
from dataclasses import dataclass
from decimal import ROUND_HALF_EVEN, Decimal, DecimalException
from functools import cache, partial
from typing import Any

from beamfall.errors import UnitError
from beamfall.setup.unit_kinds import KINDS, Kind
from beamfall.text import show_text

_NUMBER = re.compile(
    r"\s*([+-]?(?:\d+(?:_\d+)*(?:[.,]\d*)?|[.,]\d+)(?:[eE][+-]?\d+)?)\s*(\S.*?)?\s*"
)
_EITHER = re.compile(r"[+-]?[1-9]\d{0,2},\d{3}")  # a decimal comma, or a mark of thousands
# As inches are read from a ruler and shutters from a dial: 23 1/2 in, 1/250 s.
_FRACTION = re.compile(r"\s*(?:(\d{1,6})[ -])?(\d{1,6})/([1-9]\d{0,5})\s*([^\W\d]\S*|[\"″])\s*")
# What is passed to pint: names, each with at most a one-figure power, multiplied or divided.
_UNIT = re.compile(r"[^\W\d]+(?:(?:\^|\*\*)-?\d)?(?:[*/ ][^\W\d]+(?:(?:\^|\*\*)-?\d)?)*")
_SPACES_ABOUT_OPERATOR = re.compile(r"\s*([*/·^])\s*")
_SHOWN_MOST = 60  # characters of a wrong value that a message repeats


def parse_quantity(
    text: object,
    kind: str,
    *,
    key: str = "",
    example: str = "",
    bounds: tuple[float, float] | None = None,
) -> float:
    """Read `text` as a quantity of `kind` (a key of KINDS) and return it in that kind's SI unit.

    The result is the float nearest to the decimal number written: `parse_quantity("3.2 ms",
    "duration") == 0.0032`. A decimal comma is read if it cannot be a thousands separator.
    Angles come in degrees, as maps and the physics have them.
    `key` is what the caller calls the value; the message of an error starts with it. `example` is
    a plausible value for this key, and `bounds` in SI say which suggestions make sense; neither
    limits what is accepted.
    Raises UnitError for a missing, unknown or unfitting unit and for what is not a number.
    """
    asked = _Asked(text, KINDS[kind], key, example or KINDS[kind].example, bounds)
    if not isinstance(text, str):
        raise asked.refuse_bare(text)
    if fraction := _FRACTION.fullmatch(text):
        whole, over, under, unit = fraction.groups()
        return asked.convert(str(int(whole or 0) + Decimal(over) / Decimal(under)), unit)
    match = _NUMBER.fullmatch(text)
    if match is None:
        raise asked.refuse(f"is not {asked.kind.noun}")
    written, unit = match.group(1), match.group(2)
    if unit is not None and unit[0] in ".,":
        raise asked.refuse("has more than one point or comma in its number")
    number = written.replace(",", ".")
    if unit is None:
        raise asked.refuse_bare(number)
    if _EITHER.fullmatch(written):
        likely = (f"{number} {unit}", f"{written.replace(',', '')} {unit}")
        raise asked.refuse(
            f'could mean two things: write "{likely[0]}" or "{likely[1]}"', "", likely
        )
    if not unit.isalpha():
        unit = _SPACES_ABOUT_OPERATOR.sub(r"\1", unit)
    try:
        value = asked.convert(number, unit)
    except (DecimalException, OverflowError):
        value = math.inf
    if not math.isfinite(value):
        raise asked.refuse("is too large or too small; check its exponent", "")
    return value


def suggest_unit(text: str, kind: str, example: str, bounds: tuple[float, float]) -> str:
    """The number of a quantity outside `bounds`, with the unit of the example; empty if that does not help.

    `3 cm` for a bore of at most 1 cm was likely 3 mm; `1 inch` was hardly 1 mm.
    """
    asked = _Asked(text, KINDS[kind], "", example, bounds)
    written, wanted = _NUMBER.fullmatch(text), _NUMBER.fullmatch(example)
    units = [asked.kind.units.get(match.group(2) or "") for match in (written, wanted) if match]
    if written is None or len(units) < 2 or units[0] is None or units[1] is None:
        return ""
    ratio = (units[0][0] / units[1][0]).normalize()
    if ratio.as_tuple().digits != (1,):  # not a slip of the prefix
        return ""
    return asked.suggest(written.group(1).replace(",", "."))


@dataclass(frozen=True)
class _Asked:
    """One value that is being read, and how to refuse it."""

    text: object
    kind: Kind
    key: str
    example: str
    bounds: tuple[float, float] | None

    def refuse(
        self, problem: str, cure: str | None = None, likely: tuple[str, ...] = ()
    ) -> UnitError:
        """The error for a text: what is wrong with it, then a cure (an example, where none is given)."""
        if cure is None:
            cure = f'; write a number and a unit, such as "{self.example}"'
        return self._make(f"{quote(self.text)} {problem}{cure}", likely)

    def refuse_bare(self, value: object) -> UnitError:
        """The error for a number without a unit, or for what is not text at all."""
        noun = self.kind.noun
        if isinstance(value, bool) or not isinstance(value, str | int | float):
            return self._make(
                f'{show(value)} is not {noun}; write it as text, such as "{self.example}"'
            )
        likely = self.suggest(value)
        return self._make(
            f'{value} has no unit; write {noun} with its unit, such as "{likely or self.example}"',
            (likely,) if likely else (),
        )

    def convert(self, number: str, unit: str) -> float:
        """The value in SI; raises UnitError for a unit that does not fit."""
        entry = self.kind.units.get(unit)
        if entry is None:
            return self._ask_pint(number, unit)
        factor, offset = entry
        return float((Decimal(number) + offset) * factor)

    def suggest(self, number: str | int | float) -> str:
        """The number with the example's unit, or with degrees Fahrenheit; empty where neither is plausible."""
        match = _NUMBER.fullmatch(self.example)
        low, high = self.bounds or (-math.inf, math.inf)
        for unit in (match.group(2) if match else "", "°F"):
            try:
                value = self.convert(str(number), unit)
            except (UnitError, DecimalException):
                continue
            if low <= value <= high:
                return f"{number} {unit}"
        return ""

    def _make(self, message: str, likely: tuple[str, ...] = ()) -> UnitError:
        where = f"{self.key} = " if self.key else ""
        expected = f'{self.kind.noun} with its unit, such as "{self.example}"'
        return UnitError(
            f"{where}{message}", key=self.key, found=self.text, expected=expected, likely=likely
        )

    def _ask_pint(self, number: str, unit: str) -> float:
        """Convert a unit that the fast table does not have; refuse what does not fit."""
        kind = self.kind
        for other in KINDS.values():
            if other is not kind and unit in other.units:
                raise self.refuse(
                    f'is {other.noun}, not {kind.noun}; write one such as "{self.example}"', ""
                )
        cure = (
            f'; write {kind.noun} such as "{self.example}" '
            f"(usual units: {', '.join(_name_units(kind))})"
        )
        unknown = self.refuse(f"has an unknown unit, {quote(unit)}", cure)
        if len(unit) > 40 or not _UNIT.fullmatch(unit):
            raise unknown
        registry = _get_registry()
        try:
            parsed = registry.parse_units(unit.replace("·", "*"))
        except Exception as error:  # pint raises errors of many kinds for text it cannot read
            raise unknown from error
        target = registry.parse_units("" if kind.si_unit == "1" else kind.si_unit)
        if parsed.dimensionality != target.dimensionality:
            raise self.refuse(f'is not {kind.noun}: "{unit}" measures something else', cure)
        return float(registry.Quantity(float(number), parsed).to(target).magnitude)


def _name_units(kind: Kind) -> list[str]:
    """One name for each unit of a kind."""
    first: dict[tuple[Decimal, Decimal], str] = {}
    for name, entry in kind.units.items():
        first.setdefault(entry, name)
    return list(first.values())


def quote(text: object) -> str:
    """A text from outside in quotes, for a message: one line, not too long, no control characters."""
    shown = show_text(text)
    return f'"{shown}"' if len(shown) <= _SHOWN_MOST else f'"{shown[: _SHOWN_MOST - 1]}…"'


def show(value: object) -> str:
    """Any value from outside as Python writes it, shortened if it is long or deeply nested."""
    shortener = reprlib.Repr()
    shortener.maxstring = shortener.maxother = _SHOWN_MOST
    return shortener.repr(value)


parse_length = partial(parse_quantity, kind="length")
parse_duration = partial(parse_quantity, kind="duration")


def to_ticks(seconds: float, clock_hz: int) -> int:
    """Turn seconds into the nearest whole number of ticks of a clock; halves go to the even number.

    The float is taken as the shortest decimal that prints as it, so that 0.0032 s of a 125 MHz
    clock are 400,000 ticks and not the tick beside.
    """
    exact = Decimal(repr(float(seconds))) * clock_hz
    return int(exact.to_integral_value(rounding=ROUND_HALF_EVEN))


@cache
def _get_registry() -> Any:
    import pint  # takes 0.2 s, and few rigs are measured in such units

    return pint.UnitRegistry(autoconvert_offset_to_baseunit=True)
