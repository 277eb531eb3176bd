"""From the tables of a user's TOML file to dataclasses: each field says what its key may be.

A field made by `quantity("length", low, high)` named `height_m` reads the key `height`, text with
a unit; `number`, `count`, `truth`, `choice`, `text` and `shares` do the same for what has no unit.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import MISSING, Field, dataclass, field, fields, is_dataclass
from typing import Any

from beamfall.errors import UnitError
from beamfall.setup.units import KINDS, format_quantity, parse_quantity

_UNIT_SUFFIXES = ("_kg_m3", "_pa_s", "_n_m", "_deg", "_pa", "_m3", "_m", "_s", "_k")


@dataclass(frozen=True, slots=True)
class Rule:
    """What one key may hold. `kind` is one of `setup.units`, or number, count, truth, choice, text, shares."""

    kind: str
    low: float = 0.0
    high: float = 0.0
    options: tuple[str, ...] = ()

    def read(self, key: str, value: object) -> Any:
        """Return the value in SI; raises ValueError with the message for the user."""
        match self.kind:
            case "text":
                if not isinstance(value, str):
                    raise ValueError(f"{key} = {value!r}: expected text in quotes")
                return value
            case "choice":
                if value not in self.options:
                    raise ValueError(f"{key} = {value!r}: expected {' or '.join(self.options)}")
                return value
            case "truth":
                if not isinstance(value, bool):
                    raise ValueError(f"{key} = {value!r}: expected true or false, without quotes")
                return value
            case "shares":
                return _read_shares(key, value)
            case "number" | "count":
                return self._read_number(key, value)
            case _:
                return self._read_quantity(key, value)

    def _read_number(self, key: str, value: object) -> float | int:
        whole = self.kind == "count"
        expected = f"a {'whole ' if whole else ''}number from {self.low:g} to {self.high:g}"
        number = isinstance(value, int) or (isinstance(value, float) and not whole)
        if not number or isinstance(value, bool):
            raise ValueError(f"{key} = {value!r}: expected {expected}, without unit")
        assert isinstance(value, int | float)
        if not self.low <= value <= self.high:
            raise ValueError(f"{key} = {value!r}: expected {expected}")
        return value if whole else float(value)

    def _read_quantity(self, key: str, value: object) -> float:
        low, high = format_quantity(self.low, self.kind), format_quantity(self.high, self.kind)
        try:
            si = parse_quantity(value, self.kind, key=key)
        except UnitError as error:
            raise ValueError(f"{error} (from {low} to {high})") from error
        if not self.low <= si <= self.high:
            noun = KINDS[self.kind].noun
            raise ValueError(f'{key} = "{value}": expected {noun} from {low} to {high}')
        return si


def quantity(kind: str, low: float, high: float, *, default: Any = MISSING) -> Any:
    """Declare a field that holds a quantity; limits and default in SI."""
    return _declare(Rule(kind, low, high), default)


def number(low: float, high: float, *, default: Any = MISSING) -> Any:
    """Declare a field that holds a plain number."""
    return _declare(Rule("number", low, high), default)


def count(low: int, high: int, *, default: Any = MISSING) -> Any:
    """Declare a field that holds a whole number."""
    return _declare(Rule("count", low, high), default)


def truth(*, default: Any = MISSING) -> Any:
    """Declare a field that is true or false."""
    return _declare(Rule("truth"), default)


def choice(options: tuple[str, ...], *, default: Any = MISSING) -> Any:
    """Declare a field that holds one of some words."""
    return _declare(Rule("choice", options=options), default)


def text(*, default: Any = MISSING) -> Any:
    """Declare a field that holds text."""
    return _declare(Rule("text"), default)


def shares(*, default: Any = MISSING) -> Any:
    """Declare a field that holds parts by name: `{ water = 3, milk = 1 }`."""
    return _declare(Rule("shares"), default)


def build_section(kind: Any, content: object, where: str, problems: list[str]) -> Any:
    """Build the dataclass `kind` from the table `where` of a file.

    `where` is empty for the top of the file. What is wrong is added to `problems`, one text a key;
    then the result is None.
    """
    if not isinstance(content, Mapping):
        problems.append(f"{where} = {content!r}: expected a table, begun with [{where}]")
        return None
    before = len(problems)
    prefix = f"{where}." if where else ""
    by_key = {file_key(item): item for item in fields(kind)}
    problems += [describe_unknown(key, by_key, prefix) for key in content if key not in by_key]
    values: dict[str, Any] = {}
    for key, item in by_key.items():
        rule: Rule = item.metadata["rule"]
        if key in content:
            try:
                values[item.name] = rule.read(f"{prefix}{key}", content[key])
            except ValueError as error:
                problems.append(str(error))
        elif item.default is MISSING:
            problems.append(f"{prefix}{key}: missing; {_describe_rule(rule, key)}")
    return kind(**values) if len(problems) == before else None


def file_key(item: Field[Any]) -> str:
    """The key in the file for a field: its name without the SI unit."""
    if item.metadata["rule"].kind in KINDS:
        for suffix in _UNIT_SUFFIXES:
            if item.name.endswith(suffix):
                return item.name.removesuffix(suffix)
    return item.name


def describe_unknown(key: str, known: Iterable[str], prefix: str) -> str:
    """The message for a key that nobody asked for, with the nearest that exists."""
    import difflib

    names = list(known)
    near = difflib.get_close_matches(key, names, n=1, cutoff=0.5)
    hint = f"did you mean {near[0]}?" if near else f"known are {', '.join(names)}"
    return f"{prefix}{key}: unknown key; {hint}"


def section_to_dict(value: Any) -> Any:
    """Return dataclasses and tuples as plain dicts and lists, names with their SI units."""
    if is_dataclass(value):
        return {item.name: section_to_dict(getattr(value, item.name)) for item in fields(value)}
    if isinstance(value, tuple):
        return [section_to_dict(item) for item in value]
    return value


def _declare(rule: Rule, default: Any) -> Any:
    if default is MISSING:
        return field(metadata={"rule": rule}, kw_only=True)
    return field(default=default, metadata={"rule": rule}, kw_only=True)


def _describe_rule(rule: Rule, key: str) -> str:
    if rule.kind in KINDS:
        low, high = format_quantity(rule.low, rule.kind), format_quantity(rule.high, rule.kind)
        return f"give {KINDS[rule.kind].noun} with its unit, from {low} to {high}"
    return f"give {key}"


def _read_shares(key: str, value: object) -> tuple[tuple[str, float], ...]:
    good = isinstance(value, Mapping) and all(
        isinstance(share, int | float) and not isinstance(share, bool) and 0 < share < 1e6
        for share in value.values()
    )
    if not good or not value:
        raise ValueError(
            f"{key} = {value!r}: expected parts by name, such as {{ water = 3, milk = 1 }}"
        )
    assert isinstance(value, Mapping)
    return tuple((str(name), float(share)) for name, share in value.items())
