"""From the tables of a user's TOML file to dataclasses: each field says what its key may be.

A field made by `length(low, high, meaning)` named `height_m` reads the key `height`, text with a unit;
`duration` and `quantity(kind, ...)` do the same for other kinds of quantities, and `number`, `count`, `truth`,
`choice`, `text` and `shares` for what has no unit.
"""

from __future__ import annotations

import difflib
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import MISSING, Field, dataclass, field, fields, is_dataclass
from functools import cache, partial
from typing import Any, TypeGuard

from beamfall.errors import KeyProblem, UnitError
from beamfall.setup.unit_kinds import KINDS
from beamfall.setup.unit_words import format_quantity
from beamfall.setup.units import parse_quantity, quote, show, suggest_unit

_TOLD_MOST = 50  # problems in one message
_UNKNOWN_MOST = 30  # keys that are named, with what they may have meant
_UNIT_SUFFIXES = ("_kg_m3", "_pa_s", "_n_m", "_deg", "_pa", "_m3", "_m", "_s", "_k")


@dataclass(frozen=True, slots=True)
class Rule:
    """What one key may hold. `kind` is one of `setup.units`, or number, count, truth, choice, text, shares.

    `meaning` says what the key is; `example` is a plausible value with its unit, for a quantity.
    """

    kind: str
    low: float = 0.0
    high: float = 0.0
    options: tuple[str, ...] = ()
    example: str = ""
    formerly: Mapping[str, str] = field(default_factory=dict)  # old word of a choice -> today's
    meaning: str = ""

    @property
    def expected(self) -> str:
        """What the key may hold, in words."""
        match self.kind:
            case "text":
                return "text in quotes"
            case "choice":
                return " or ".join(self.options)
            case "truth":
                return "true or false, without quotes"
            case "shares":
                return "parts by name, such as { water = 3, milk = 1 }"
            case "number":
                return f"a number from {self.limits}"
            case "count":
                return f"a whole number from {self.limits}"
            case _:
                return f"{KINDS[self.kind].noun} from {self.limits}"

    @property
    def limits(self) -> str:
        """Its smallest and largest value, in words; empty if it has none."""
        if self.kind in ("number", "count"):
            return f"{self.low:g} to {self.high:g}"
        if self.kind not in KINDS:
            return ""
        low, high = (format_quantity(bound, self.kind) for bound in (self.low, self.high))
        return f"{low} to {high}"

    def read(self, key: str, value: object) -> Any:
        """Return the value in SI; raises UnitError, with `key` and the rule's `expected`, for a wrong one."""
        match self.kind:
            case "text":
                good = isinstance(value, str)
            case "choice":
                if isinstance(value, str):
                    value = self.formerly.get(value, value)
                good = value in self.options
            case "truth":
                good = isinstance(value, bool)
            case "shares":
                if _are_shares(value):
                    return tuple((str(name), float(share)) for name, share in value.items())
                good = False
            case "number" | "count":
                return self._read_number(key, value)
            case _:
                return self._read_quantity(key, value)
        if not good:
            raise self._refuse(key, value, f"{key} = {show(value)}: expected {self.expected}")
        return value

    def _read_number(self, key: str, value: object) -> float | int:
        whole = self.kind == "count"
        number = isinstance(value, int) or (isinstance(value, float) and not whole)
        if not number or isinstance(value, bool):
            text = f"{key} = {show(value)}: expected {self.expected}, without unit"
            raise self._refuse(key, value, text)
        assert isinstance(value, int | float)
        if not self.low <= value <= self.high:
            raise self._refuse(key, value, f"{key} = {show(value)}: expected {self.expected}")
        return value if whole else float(value)

    def _read_quantity(self, key: str, value: object) -> float:
        bounds = (self.low, self.high)
        try:
            si = parse_quantity(value, self.kind, key=key, example=self.example, bounds=bounds)
        except UnitError as error:
            text = f"{error} (from {self.limits})"
            raise self._refuse(key, value, text, error.likely) from error
        if not self.low <= si <= self.high:
            likely = suggest_unit(str(value), self.kind, self.example, bounds)
            hint = f"; did you mean {likely}?" if likely else ""
            text = f"{key} = {quote(value)}: expected {self.expected}{hint}"
            raise self._refuse(key, value, text, (likely,) if likely else ())
        return si

    def _refuse(
        self, key: str, value: object, text: str, likely: tuple[str, ...] = ()
    ) -> UnitError:
        return UnitError(text, key=key, found=value, expected=self.expected, likely=likely)


def quantity(
    kind: str,
    low: float,
    high: float,
    meaning: str = "",
    *,
    default: Any = MISSING,
    example: str = "",
) -> Any:
    """Declare a field that holds a quantity; limits and default in SI.

    `example` is a plausible value, for forms and messages; the default where none is given.
    """
    if not example and default not in (MISSING, None):
        example = format_quantity(default, kind)
    rule = Rule(kind, low, high, example=example or KINDS[kind].example, meaning=meaning)
    return _declare(rule, default)


length = partial(quantity, "length")
duration = partial(quantity, "duration")


def number(low: float, high: float, meaning: str = "", *, default: Any = MISSING) -> Any:
    """Declare a field that holds a plain number."""
    return _declare(Rule("number", low, high, meaning=meaning), default)


def count(low: int, high: int, meaning: str = "", *, default: Any = MISSING) -> Any:
    """Declare a field that holds a whole number."""
    return _declare(Rule("count", low, high, meaning=meaning), default)


def truth(meaning: str = "", *, default: Any = MISSING) -> Any:
    """Declare a field that is true or false."""
    return _declare(Rule("truth", meaning=meaning), default)


def choice(
    options: tuple[str, ...],
    meaning: str = "",
    *,
    default: Any = MISSING,
    formerly: Mapping[str, str] | None = None,
) -> Any:
    """Declare a field that holds one of some words; `formerly` gives today's word for an old one."""
    rule = Rule("choice", options=options, formerly=formerly or {}, meaning=meaning)
    return _declare(rule, default)


def text(meaning: str = "", *, default: Any = MISSING) -> Any:
    """Declare a field that holds text."""
    return _declare(Rule("text", meaning=meaning), default)


def shares(meaning: str = "", *, default: Any = MISSING) -> Any:
    """Declare a field that holds parts by name: `{ water = 3, milk = 1 }`."""
    return _declare(Rule("shares", meaning=meaning), default)


def build_section(
    kind: Any, content: object, where: str, problems: list[KeyProblem], *, path: str | None = None
) -> Any:
    """Build the dataclass `kind` from the table `where` of a file.

    `where` is what messages call the table, empty for the top of the file; `path` is its path in
    KeyProblem, where that differs. What is wrong is added to `problems`, one a key; then the
    result is None.
    """
    path = where if path is None else path
    if not isinstance(content, Mapping):
        expected = f"a table that starts with [{where}]"
        text = f"{where} = {show(content)}: expected {expected}"
        problems.append(KeyProblem(path, content, expected, text))
        return None
    before = len(problems)
    by_key = _list_keys(kind)
    problems += list_unknown(content, by_key, where, path=path)
    values: dict[str, Any] = {}
    for key, item in by_key.items():
        if key in content:
            try:
                values[item.name] = rule_of(item).read(_join(where, key), content[key])
            except UnitError as error:
                found = content[key]
                problems.append(
                    KeyProblem(_join(path, key), found, error.expected, str(error), error.likely)
                )
        elif item.default is MISSING:
            rule = rule_of(item)
            meaning = f" ({rule.meaning})" if rule.meaning else ""
            text = f"{_join(where, key)}: missing{meaning}; {_describe_rule(rule, key)}"
            problems.append(KeyProblem(_join(path, key), None, rule.expected, text))
    return kind(**values) if len(problems) == before else None


@cache
def _list_keys(kind: Any) -> Mapping[str, Field[Any]]:
    """The fields of a dataclass by their keys in a file."""
    return {file_key(item): item for item in fields(kind)}


def rule_of(item: Field[Any]) -> Rule:
    rule: Rule = item.metadata["rule"]
    return rule


def list_problems(problems: Iterable[KeyProblem], source: str, noun: str) -> str:
    """The message for what is wrong with a file, at most the first problems; `source` names it, `noun` its kind."""
    texts = [problem.text for problem in problems]
    count_of = "one problem" if len(texts) == 1 else f"{len(texts)} problems"
    more = len(texts) - _TOLD_MOST
    told = [*texts[:_TOLD_MOST], f"and {more} more"] if more > 0 else texts
    return "\n  ".join([f"{source}: {count_of} in this {noun}:", *told])


def name_other_kind(source: str, found: str, wanted: str, cure: str) -> tuple[KeyProblem]:
    """The one problem with a file of another kind, such as a rig file where a sequence file is wanted."""
    return (KeyProblem("", found, wanted, f"{source}: this is a {found}, not a {wanted}. {cure}"),)


def file_key(item: Field[Any]) -> str:
    """The key in the file for a field: its name without the SI unit."""
    if rule_of(item).kind in KINDS:
        for suffix in _UNIT_SUFFIXES:
            if item.name.endswith(suffix):
                return item.name.removesuffix(suffix)
    return item.name


def list_unknown(
    keys: Iterable[str], known: Iterable[str], where: str, *, path: str | None = None
) -> Iterator[KeyProblem]:
    """A problem for each unknown key of a table, with the nearest known one; at most the first few."""
    names = list(known)
    unknown = [key for key in keys if key not in names]
    place = where if path is None else path
    for key in unknown[:_UNKNOWN_MOST]:
        near = difflib.get_close_matches(key, names, n=1, cutoff=0.5)
        hint = f"did you mean {near[0]}?" if near else f"known are {', '.join(names)}"
        shown = key if key.isprintable() and len(key) <= 60 else show(key)
        yield KeyProblem(
            _join(place, key), None, hint, f"{_join(where, shown)}: unknown key; {hint}"
        )
    if len(unknown) > _UNKNOWN_MOST:
        more = f"{len(unknown) - _UNKNOWN_MOST} more unknown keys"
        yield KeyProblem(place, None, "", f"{where}: {more}" if where else more)


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


def _join(table: str, key: str) -> str:
    return f"{table}.{key}" if table else key


def _describe_rule(rule: Rule, key: str) -> str:
    if rule.kind in KINDS:
        return f"give {KINDS[rule.kind].noun} with its unit, from {rule.limits}"
    return f"give {key}"


def _are_shares(value: object) -> TypeGuard[Mapping[str, float]]:
    return (
        isinstance(value, Mapping)
        and bool(value)
        and all(
            isinstance(share, int | float) and not isinstance(share, bool) and 0 < share < 1e6
            for share in value.values()
        )
    )
