"""Records to JSON as the log stores them, and back with every type checked: a file may be damaged anywhere.

Each stored text has a checksum beside it. What does not fit it, or does not read as the record that it should be,
raises `DamagedValue`, never anything else.
"""

from __future__ import annotations

import contextlib
import dataclasses
import functools
import json
import math
import types
import typing
import zlib
from collections.abc import Callable, Mapping
from typing import Any

from beamfall.events import Readings
from beamfall.setup.table import BEAMS
from beamfall.shots.record import EdgeRecord, default_of

_LISTS = ("edges", "readings")
_Record = typing.TypeVar("_Record")
# The end of the year 9999, UTC: what Python's datetime holds
_TIME_MOST_US = 253_402_300_800_000_000
_WHOLE_MOST = 2**63  # SQLite's integers, and more than any time or count


class DamagedValue(ValueError):
    """A stored value is not what was written; the text says which and why."""


class DamagedRow(DamagedValue):
    """A row of an older log cannot be brought to this version."""

    def __init__(self, table: str, number: int, why: str) -> None:
        self.table = table
        self.number = number
        super().__init__(why)


def make_checksum(text: str) -> int:
    """Return the CRC-32 of a stored text: it finds flipped bytes, it is not protection against intent."""
    return zlib.crc32(text.encode("utf-8", "surrogatepass"))


def to_text(value: Any) -> str:
    """Return compact JSON, as the log keeps it."""
    return json.dumps(value, separators=(",", ":"), ensure_ascii=False)


def from_text(text: object, checksum: object) -> dict[str, Any]:
    """Return the JSON object in a stored text; raises DamagedValue."""
    if not isinstance(text, str):
        raise DamagedValue("not text")
    if make_checksum(text) != checksum:
        raise DamagedValue("the checksum does not fit")
    try:
        content = json.loads(text)
    except (ValueError, RecursionError) as error:
        raise DamagedValue("not JSON") from error
    if not isinstance(content, dict):
        raise DamagedValue("not a JSON object")
    return content


def to_plain(record: Any, *, but: tuple[str, ...] = ()) -> dict[str, Any]:
    """Return the values of a record that differ from their defaults; edges and readings as short lists."""
    content = {}
    for one in dataclasses.fields(record):
        value = getattr(record, one.name)
        default = default_of(one)
        if one.name in but or (default is not dataclasses.MISSING and value == default):
            continue
        if one.name in _LISTS and value:  # `dataclasses.astuple` would copy each of them deeply
            names = [part.name for part in dataclasses.fields(value[0])]
            value = [[getattr(part, name) for name in names] for part in value]
        content[one.name] = value
    return content


def from_plain(kind: type[_Record], content: Mapping[str, Any]) -> _Record:
    """Rebuild a record of that dataclass from `to_plain`; keys that it has not are left out. Raises DamagedValue."""
    values = {}
    for name, check, required in _checks(typing.cast(Any, kind)):
        if name in content:
            values[name] = check(content[name], name)
        elif required:
            raise DamagedValue(f"{name} is missing")
    return kind(**values)


@functools.cache
def _checks(kind: type) -> tuple[tuple[str, Callable[[Any, str], Any], bool], ...]:
    hints = typing.get_type_hints(kind)
    return tuple(
        (one.name, _make_check(hints[one.name]), default_of(one) is dataclasses.MISSING)
        for one in dataclasses.fields(kind)
    )


def _make_check(hint: Any) -> Callable[[Any, str], Any]:
    """Return the function that checks a value against a type hint and returns it."""
    origin, arguments = typing.get_origin(hint), typing.get_args(hint)
    if origin in (types.UnionType, typing.Union):
        inner = [_make_check(one) for one in arguments if one is not types.NoneType]
        return lambda value, name: None if value is None else inner[0](value, name)
    if origin is tuple and arguments[0] is EdgeRecord:
        return _read_edges
    if origin is tuple and arguments[0] is Readings:
        return _read_readings
    if origin is tuple and arguments[0] is str:
        return _read_texts
    if origin is not None and issubclass(origin, Mapping):
        return _check_counts if arguments[1] is int else _check_mapping
    if hint is int:
        return _check_whole
    return lambda value, name: _check_kind(value, name, hint)


def _check_kind(value: Any, name: str, kind: type) -> Any:
    if not isinstance(value, kind):
        raise DamagedValue(f"{name} is {type(value).__name__}, not {kind.__name__}")
    if name == "anchor_beam" and value not in BEAMS:
        raise DamagedValue(f"{name} is no beam")
    return value


def _check_whole(value: Any, name: str) -> int:
    if type(value) is not int or not -_WHOLE_MOST < value < _WHOLE_MOST:
        raise DamagedValue(f"{name} is not a whole number")
    if name == "clock_hz" and value < 1:
        raise DamagedValue("clock_hz is not above 0")
    if name.endswith("_us") and not 0 <= value < _TIME_MOST_US:
        raise DamagedValue(f"{name} is not a time of day")
    return value


def _check_mapping(value: Any, name: str) -> dict[str, Any]:
    found = typing.cast(dict[str, Any], _check_kind(value, name, dict))
    fits = _INSIDE.get(name)
    if fits is not None and not fits(found):
        raise DamagedValue(f"{name} is not as it was written")
    return found


def _is_number(value: Any) -> bool:
    """Finite, and no yes or no."""
    return isinstance(value, int | float) and type(value) is not bool and abs(value) < math.inf


def _is_truth(content: Mapping[str, Any]) -> bool:
    pictures = content.get("pictures", [])
    return isinstance(pictures, list) and all(
        isinstance(one, dict)
        and isinstance(one.get("shows"), str)
        and (one.get("stage_ms") is None or _is_number(one["stage_ms"]))
        for one in pictures
    )


def _is_swept(content: Mapping[str, Any]) -> bool:
    """A step of a sweep has a number, a value and which repeat it is."""
    needed = ("step", "repeat", "value_ms") if "step" in content else ()
    numbers = {*needed, *({"value_ms"} & content.keys())}
    return all(_is_number(content.get(name)) for name in numbers)


def _is_exposure(content: Mapping[str, Any]) -> bool:
    return all(
        _is_number(content[name]) and content[name] > 0
        for name in ("time_s", "aperture", "iso", "focal_length_m")
        if name in content
    ) and isinstance(content.get("mode", ""), str)


_INSIDE: Mapping[str, Callable[[Mapping[str, Any]], bool]] = {
    "truth": _is_truth,
    "swept": _is_swept,
    "exposure": _is_exposure,
}


def _check_counts(value: Any, name: str) -> dict[str, Any]:
    for one in _check_mapping(value, name).values():
        _check_whole(one, name)
    return typing.cast(dict[str, Any], value)


def _read_texts(value: Any, name: str) -> tuple[str, ...]:
    for one in _check_kind(value, name, list):
        _check_kind(one, name, str)
    return tuple(value)


def _read_edges(value: Any, name: str) -> tuple[EdgeRecord, ...]:
    edges = []
    for one in _check_kind(value, name, list):
        match one:
            case [str(), str(), int() | None, int() | None, str()]:
                with contextlib.suppress(LookupError):  # no such line
                    edges.append(EdgeRecord(*one))
                    continue
        raise DamagedValue("an edge has been altered")
    return tuple(edges)


def _read_readings(value: Any, name: str) -> tuple[Readings, ...]:
    found = []
    for one in _check_kind(value, name, list):
        match one:
            case [int(start), int(spacing), [*currents], [*voltages]]:
                numbers = (start, spacing, *currents, *voltages)
                whole = all(type(n) is int and 0 <= n < _WHOLE_MOST for n in numbers)
                if whole and spacing and len(currents) == len(voltages):
                    found.append(Readings(start, spacing, tuple(currents), tuple(voltages)))
                    continue
        raise DamagedValue("readings have been altered")
    return tuple(found)
