"""The definition of the wire: protocol/messages.toml, read and checked, as frozen values.

Names, numbers, sizes and enums all come from that file; none is repeated in Python.
`load_definition()` reads and checks one file, `get_definition()` returns the one of this
installation and reads it once.
"""

from __future__ import annotations

import struct
import tomllib
from collections.abc import Mapping
from dataclasses import replace
from functools import cache
from pathlib import Path
from types import MappingProxyType
from typing import Any

from beamfall.errors import DefinitionError
from beamfall.resources import find_protocol
from beamfall.wire.schema import (
    A_LIMIT,
    CRC_SIZE,
    HEADER_SIZE,
    INTEGERS,
    KINDS,
    REPEATS,
    SIGNAL_BITS,
    Definition,
    EnumDefinition,
    Extended,
    Field,
    FrameDefinition,
    Limits,
    MessageDefinition,
    RecordDefinition,
    SignalDefinition,
    SignalKindDefinition,
    WireEnum,
    make_class_name,
)


@cache
def get_definition() -> Definition:
    """Return the definition that comes with this package."""
    return load_definition(find_protocol() / "messages.toml")


def load_definition(path: Path) -> Definition:
    """Read and check one messages.toml.

    Raises DefinitionError, which names the file and the wrong entry.
    """
    try:
        with path.open("rb") as file:
            content = tomllib.load(file)
    except (OSError, tomllib.TOMLDecodeError) as error:
        raise DefinitionError(f"cannot be read: {error}", source=path) from error
    return parse_definition(content, str(path))


def parse_definition(content: Mapping[str, Any], source: str) -> Definition:
    """Check the content of a messages.toml, build a Definition; `source` names it in errors."""
    return _Parser(source).parse(content)


class _Parser:
    """Turns the file's content into values; every error names the file and the entry."""

    def __init__(self, source: str) -> None:
        self._source = source
        self._enums: dict[str, EnumDefinition] = {}
        self._records: dict[str, RecordDefinition] = {}
        self._messages: dict[str, MessageDefinition] = {}

    def parse(self, content: Mapping[str, Any]) -> Definition:
        self._check_keys(
            content,
            "the file",
            {"protocol", "frame", "limits", "enums", "records", "messages"},
            frozenset({"extends"}),
        )
        protocol = self._check_integer(content["protocol"], "protocol", 1, 255)
        frame = FrameDefinition(**self._parse_sizes(content["frame"], "frame", FrameDefinition))
        limits = Limits(**self._parse_sizes(content["limits"], "limits", Limits))
        self._text_max = limits.text_max
        self._check_frame(frame)
        for name, entry in content["enums"].items():
            self._enums[name] = self._parse_enum(name, entry)
        kinds, signals = self._parse_signals(content["enums"].get("signal", {}))
        records: dict[str, RecordDefinition] = {}
        for name, entry in content["records"].items():
            where, problem = f"records.{name}", "a record's field must have a fixed size"
            fields = self._parse_fields(where, entry["fields"])
            for field in fields:
                self._require(field.size > 0, f"{where}.{field.name}", problem)
            records[name] = RecordDefinition(name, entry.get("meaning", ""), fields)
        self._records = records  # from here on: a record holds no lists
        for entry in content["messages"]:
            message = self._parse_message(entry)
            where = f"message {message.name}"
            self._require(message.name not in self._messages, where, "the name occurs twice")
            self._require(message.name not in records, where, "a record has the same name")
            for other in self._messages.values():
                self._require(
                    message.id != other.id,
                    where,
                    f"id {message.id:#04x} is also that of {other.name}",
                )
            self._require(
                message.largest <= frame.payload_max,
                where,
                f"its largest payload is {message.largest} bytes; the limit is {frame.payload_max}",
            )
            self._messages[message.name] = message
        for message in self._messages.values():
            self._check_answer(message)
        self._check_limits(limits)
        enums, messages = MappingProxyType(self._enums), MappingProxyType(self._messages)
        definition = Definition(
            protocol, frame, limits, enums, kinds, signals, MappingProxyType(records), messages
        )
        extends = [self._parse_extended(one, definition) for one in content.get("extends", [])]
        return replace(definition, extends=tuple(extends))

    def _parse_extended(self, entry: Mapping[str, Any], definition: Definition) -> Extended:
        self._check_keys(entry, "extends", {"digest", "added"})
        where = f"extends {entry['digest']}"
        for name in entry["added"]:
            kind = definition.messages[name].kind if name in definition.messages else None
            self._require(
                kind in ("request", "answer"), where, f"{name!r} is not a request or an answer"
            )
        extended = Extended(bytes.fromhex(entry["digest"]), frozenset(entry["added"]))
        found = definition.without(extended.added).digest
        self._require(
            found == extended.digest,
            where,
            f"without what was added, the digest is {found.hex()}: more has changed than was added. "
            "Undo it, or remove this entry, and hosts and boards must be updated together",
        )
        return extended

    def _require(self, condition: bool, where: str, problem: str) -> None:
        if not condition:
            raise DefinitionError(problem, source=self._source, entry=where)

    def _check_keys(
        self,
        entry: Mapping[str, Any],
        where: str,
        needed: set[str],
        optional: frozenset[str] = frozenset(),
    ) -> None:
        missing = sorted(needed - entry.keys())
        self._require(not missing, where, f"missing key {', '.join(missing)}")
        unknown = sorted(entry.keys() - needed - optional)
        self._require(not unknown, where, f"unknown key {', '.join(unknown)}")

    def _check_integer(self, value: Any, where: str, least: int, most: int) -> int:
        good = isinstance(value, int) and not isinstance(value, bool) and least <= value <= most
        self._require(good, where, f"{value!r} is not a whole number from {least} to {most}")
        return int(value)

    def _parse_sizes(self, entry: Mapping[str, Any], where: str, kind: type) -> dict[str, int]:
        names = set(kind.__annotations__)
        self._check_keys(entry, where, names)
        return {
            name: self._check_integer(entry[name], f"{where}.{name}", 1, 2**32 - 1)
            for name in names
        }

    def _check_frame(self, frame: FrameDefinition) -> None:
        self._require(
            frame.header_size == HEADER_SIZE, "frame.header_size", f"must be {HEADER_SIZE}"
        )
        self._require(frame.crc_size == CRC_SIZE, "frame.crc_size", f"must be {CRC_SIZE}")
        body = frame.header_size + frame.payload_max + frame.crc_size
        # COBS: one code byte per 254 bytes or part; then delimiter
        most = body + body // 254 + 1 + 1
        self._require(frame.frame_max == most, "frame.frame_max", f"must be {most}")

    def _parse_enum(self, name: str, entry: Mapping[str, Any]) -> EnumDefinition:
        where = f"enums.{name}"
        signal = name == "signal"
        extra = frozenset({"meaning", *(["kinds"] if signal else [])})
        self._check_keys(entry, where, {"values"}, extra)
        needed = {"value", "meaning", *(["kind", "number"] if signal else [])}
        optional = frozenset({"formerly"} if signal else {"cure"})
        seen: dict[int, str] = {}
        members: list[tuple[str, tuple[int, str, str]]] = []
        for value_name, value in entry["values"].items():
            place = f"{where}.{value_name}"
            self._require(value_name.isidentifier(), place, "the name is not an identifier")
            self._check_keys(value, place, needed, optional)
            number = self._check_integer(value["value"], place, 0, 255)
            self._require(number not in seen, place, f"{number} is also {seen.get(number)}")
            seen[number] = value_name
            members.append((value_name, (number, value["meaning"], value.get("cure", ""))))
        self._require(bool(members), where, "has no values")
        make: Any = WireEnum  # Enum's functional form, which type checkers do not accept here
        python: type[WireEnum] = make(make_class_name(name), members)
        return EnumDefinition(name, entry.get("meaning", ""), python)

    def _parse_signals(
        self, entry: Mapping[str, Any]
    ) -> tuple[tuple[SignalKindDefinition, ...], tuple[SignalDefinition, ...]]:
        """Read what `_parse_enum` leaves out: kinds, and each signal's kind, number and old name."""
        kinds = []
        for name, kind in entry.get("kinds", {}).items():
            place = f"enums.signal.kinds.{name}"
            self._check_keys(kind, place, {"output", "meaning"})
            self._require(isinstance(kind["output"], bool), place, "output must be true or false")
            kinds.append(SignalKindDefinition(name, kind["output"], kind["meaning"]))
        signals: list[SignalDefinition] = []
        names = set(entry.get("values", {}))
        for name, one in entry.get("values", {}).items():
            place = f"enums.signal.{name}"
            self._require(
                any(kind.name == one["kind"] for kind in kinds), place, f"no kind {one['kind']!r}"
            )
            before = [signal for signal in signals if signal.kind == one["kind"]]
            in_turn = one["number"] == len(before) + 1
            self._require(in_turn, place, f"number must be {len(before) + 1}")
            room = one["value"] < SIGNAL_BITS
            self._require(room, place, f"value must be below {SIGNAL_BITS}")
            formerly = one.get("formerly", "")
            self._require(formerly not in names, place, f"{formerly} is the name of a signal")
            if formerly:
                names.add(formerly)
            signals.append(
                SignalDefinition(
                    name, one["value"], one["kind"], one["number"], one["meaning"], formerly
                )
            )
        return tuple(kinds), tuple(signals)

    def _parse_message(self, entry: Mapping[str, Any]) -> MessageDefinition:
        where = f"message {entry.get('name', '?')}"
        self._check_keys(
            entry,
            where,
            {"name", "id", "kind", "meaning", "fields"},
            frozenset({"answer", "repeat", "checks", "effect"}),
        )
        self._require(entry["name"].isidentifier(), where, "the name is not an identifier")
        self._require(entry["kind"] in KINDS, where, f"kind must be one of {', '.join(KINDS)}")
        first, last = KINDS[entry["kind"]]
        fields = self._parse_fields(where, entry["fields"])
        tail = fields[-1] if fields else None
        tail_size = 0
        if tail is not None and tail.base == "list" and tail.of is not None:
            tail_size = self._records[tail.of].size
        elif tail is not None and tail.base == "text":
            tail_size = 1
        return MessageDefinition(
            entry["name"],
            self._check_integer(entry["id"], f"{where}.id", first, last),
            entry["kind"],
            entry["meaning"],
            entry.get("answer"),
            fields,
            tail_size,
            entry.get("repeat", ""),
            self._parse_checks(where, entry.get("checks", [])),
            entry.get("effect", ""),
        )

    def _parse_checks(self, where: str, entries: list[Any]) -> tuple[tuple[str, str], ...]:
        known = {A_LIMIT}
        if "refusal" in self._enums:
            known |= {member.name for member in self._enums["refusal"].python}
        for entry in entries:
            pair = isinstance(entry, list) and len(entry) == 2
            self._require(pair, where, f"the check {entry!r} must be [refusal, condition]")
            self._require(entry[0] in known, where, f"there is no refusal {entry[0]!r}")
        return tuple((reason, when) for reason, when in entries)

    def _parse_fields(self, where: str, entries: list[Mapping[str, Any]]) -> tuple[Field, ...]:
        fields: list[Field] = []
        for index, entry in enumerate(entries):
            place = f"{where}.{entry.get('name', '?')}"
            self._check_keys(entry, place, {"name", "type"}, frozenset({"max", "unit", "meaning"}))
            name, kind = entry["name"], entry["type"]
            self._require(name.isidentifier(), place, "the name is not an identifier")
            self._require(all(name != field.name for field in fields), place, "occurs twice")
            base, _, of = kind.partition(":")
            most: int | None = None
            size = 0
            if base in INTEGERS and not of:
                size = struct.calcsize("<" + INTEGERS[base])
            elif base == "bytes" and of.isdigit() and int(of) > 0:
                size = int(of)
            elif base == "enum":
                self._require(of in self._enums, place, f"there is no enum {of!r}")
                size = 1
            elif base == "list":
                self._require(of in self._records, place, f"there is no record {of!r}")
                most = self._check_integer(entry.get("max"), f"{place}.max", 1, 255)
            elif kind == "text":
                most = self._text_max
            else:
                self._require(False, place, f"unknown type {kind!r}")
            last = index == len(entries) - 1
            self._require(size > 0 or last, place, "a list or a text can only be the last field")
            self._require("max" not in entry or base == "list", place, "only a list has max")
            fields.append(
                Field(
                    name,
                    kind,
                    base,
                    of if base in ("enum", "list") else None,
                    size,
                    most,
                    entry.get("unit", ""),
                    entry.get("meaning", ""),
                )
            )
        return tuple(fields)

    def _check_answer(self, message: MessageDefinition) -> None:
        where = f"message {message.name}"
        if message.kind != "request":
            self._require(message.answer is None, where, f"a {message.kind} has no answer")
            only = message.repeat or message.checks or message.effect
            self._require(not only, where, "only a request has repeat, checks and effect")
            return
        self._require(message.answer is not None, where, "a request needs an answer")
        known = ", ".join(REPEATS)
        self._require(message.repeat in REPEATS, where, f"repeat must be one of {known}")
        self._require(bool(message.effect), where, "a request needs an effect")
        answer = self._messages.get(message.answer or "")
        self._require(
            answer is not None and answer.kind == "answer",
            where,
            f"{message.answer!r} is not an answer",
        )

    def _check_limits(self, limits: Limits) -> None:
        self._require(limits.text_max <= 255, "limits.text_max", "must fit one byte")
        for name, limit in (
            ("table_rows", limits.rows_per_part),
            ("edges", limits.edges_per_report),
        ):
            tail = self._messages[name].tail if name in self._messages else None
            self._require(
                tail is not None and tail.max == limit,
                f"message {name}",
                f"its list's max must be {limit}",
            )
