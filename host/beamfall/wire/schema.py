"""The parts of the wire's definition, as frozen values; `definition.py` reads them."""

from __future__ import annotations

import hashlib
import json
import struct
from collections import namedtuple
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from enum import IntEnum
from functools import cached_property
from types import MappingProxyType
from typing import Any, Self

INTEGERS: Mapping[str, str] = MappingProxyType({"u8": "B", "u16": "H", "u32": "I", "u64": "Q"})
# Kinds of messages, each with the ids that are its own.
KINDS: Mapping[str, tuple[int, int]] = MappingProxyType(
    {
        "request": (0x01, 0x2F),
        "notice": (0x30, 0x3F),
        "answer": (0x40, 0x7F),
        "report": (0x80, 0xEF),
        "beacon": (0xF0, 0xFF),
    }
)
# When a request may be repeated after a lost session, see messages.toml.
REPEATS = ("always", "same_boot", "release", "once")
A_LIMIT = "a limit"  # among the checks of a request: any refusal of the table's limits
HEADER_FORMAT = "<BBHI"  # protocol, message, session, number
HEADER_SIZE = struct.calcsize(HEADER_FORMAT)
CRC_SIZE = 4
SIGNAL_BITS = 16  # of the welcome's outputs and inputs: a bit a signal
COUNT_SIZE = 1  # the u8 before a list's records or a text's bytes


class WireEnum(IntEnum):
    """Base of the enums made from messages.toml: integers with a meaning and a cure."""

    meaning: str
    cure: str

    def __new__(cls, value: int, meaning: str = "", cure: str = "") -> Self:
        member = int.__new__(cls, value)
        member._value_ = value
        member.meaning = meaning
        member.cure = cure
        return member

    @property
    def label(self) -> str:
        """The name as people see it: `armed-for-sensor`."""
        return self.name.replace("_", "-")


@dataclass(frozen=True)
class Field:
    """One field of a message or record.

    `type` is as in the file; `base` is one of u8 u16 u32 u64 bytes enum list text; `of` names the
    enum or the record; `size` is the bytes it always takes (0 for a list or text); `max` is the
    most records of a list or bytes of a text.
    """

    name: str
    type: str
    base: str
    of: str | None
    size: int
    max: int | None
    unit: str
    meaning: str

    @property
    def code(self) -> str:
        """The `struct` code of a field of fixed size."""
        if self.base == "bytes":
            return f"{self.size}s"
        return "B" if self.base == "enum" else INTEGERS[self.base]


@dataclass(frozen=True)
class RecordDefinition:
    """A record that lists are made of; its fields all have a fixed size."""

    name: str
    meaning: str
    fields: tuple[Field, ...]

    @cached_property
    def format(self) -> str:
        """The `struct` format of one record."""
        return "<" + "".join(field.code for field in self.fields)

    @cached_property
    def size(self) -> int:
        """Bytes of one record."""
        return struct.calcsize(self.format)

    @cached_property
    def python(self) -> Callable[..., Any]:
        """The named tuple of a decoded record: `edge.signal`, `edge.ticks`."""
        return namedtuple(make_class_name(self.name), [field.name for field in self.fields])


@dataclass(frozen=True)
class MessageDefinition:
    """One message: fixed fields, then at most one tail, a list or a text.

    Of a request: `checks` are pairs of refusal and condition, in order; `repeat` is one of REPEATS.
    """

    name: str
    id: int
    kind: str
    meaning: str
    answer: str | None
    fields: tuple[Field, ...]
    tail_size: int  # bytes of one record of the tail's list, 1 for a text, 0 without a tail
    repeat: str = ""
    checks: tuple[tuple[str, str], ...] = ()
    effect: str = ""

    @cached_property
    def tail(self) -> Field | None:
        """The list or text at the end, if there is one."""
        last = self.fields[-1] if self.fields else None
        return last if last is not None and last.base in ("list", "text") else None

    @cached_property
    def fixed(self) -> tuple[Field, ...]:
        """The fields before the tail."""
        return self.fields if self.tail is None else self.fields[:-1]

    @cached_property
    def format(self) -> str:
        """The `struct` format of the fixed fields (the tail's count byte is not part of it)."""
        return "<" + "".join(field.code for field in self.fixed)

    @cached_property
    def fixed_size(self) -> int:
        """Bytes of the fixed fields."""
        return struct.calcsize(self.format)

    @property
    def smallest(self) -> int:
        """Bytes of the smallest payload."""
        return self.fixed_size + (COUNT_SIZE if self.tail is not None else 0)

    @property
    def largest(self) -> int:
        """Bytes of the largest payload."""
        if self.tail is None or self.tail.max is None:
            return self.fixed_size
        return self.fixed_size + COUNT_SIZE + self.tail.max * self.tail_size


@dataclass(frozen=True)
class EnumDefinition:
    """An enum of the wire; `python` is the IntEnum made from it."""

    name: str
    meaning: str
    python: type[WireEnum]


@dataclass(frozen=True)
class SignalKindDefinition:
    """A kind of signal: whether the board drives the signals of this kind, or reads them."""

    name: str
    output: bool
    meaning: str


@dataclass(frozen=True)
class SignalDefinition:
    """A signal: `number` counts within its kind, from 1; `formerly` is a name it had, or empty."""

    name: str
    value: int
    kind: str
    number: int
    meaning: str
    formerly: str


@dataclass(frozen=True)
class FrameDefinition:
    """Sizes of a frame, in bytes."""

    header_size: int
    crc_size: int
    payload_max: int
    frame_max: int


@dataclass(frozen=True)
class Limits:
    """Limits for both ends; see messages.toml."""

    rows_per_part: int
    edges_per_report: int
    report_window: int
    button_release_base: int
    text_max: int
    horizon_ticks: int


@dataclass(frozen=True)
class Extended:
    """An earlier definition that the present one extends: its digest, and what has been added since."""

    digest: bytes
    added: frozenset[str]


@dataclass(frozen=True)
class Definition:
    """The whole wire."""

    protocol: int
    frame: FrameDefinition
    limits: Limits
    enums: Mapping[str, EnumDefinition]
    signal_kinds: tuple[SignalKindDefinition, ...]
    signals: tuple[SignalDefinition, ...]
    records: Mapping[str, RecordDefinition]
    messages: Mapping[str, MessageDefinition]
    extends: tuple[Extended, ...] = ()

    def find_added(self, digest: bytes) -> frozenset[str] | None:
        """Return the messages that the definition of that digest lacks; None if it is not compatible."""
        if digest == self.digest:
            return frozenset()
        return next((one.added for one in self.extends if one.digest == digest), None)

    def without(self, names: frozenset[str]) -> Definition:
        """Return the definition without those messages and the records that only they use, extending nothing."""
        left = {name: one for name, one in self.messages.items() if name not in names}
        gone = _list_records(self.messages) - _list_records(left)
        records = {name: one for name, one in self.records.items() if name not in gone}
        return replace(
            self, messages=MappingProxyType(left), records=MappingProxyType(records), extends=()
        )

    @cached_property
    def by_id(self) -> Mapping[int, MessageDefinition]:
        return MappingProxyType({message.id: message for message in self.messages.values()})

    def enum(self, name: str) -> type[WireEnum]:
        """Return the IntEnum `name`; `definition.enum("state")["idle"]` is a member."""
        return self.enums[name].python

    @cached_property
    def canonical(self) -> bytes:
        """The definition as canonical JSON, the input of the digest; it leaves out meanings and cures."""

        def fields(of: tuple[Field, ...]) -> list[list[Any]]:
            return [
                [field.name, field.type, field.max if field.base == "list" else None]
                for field in of
            ]

        content = {
            "protocol": self.protocol,
            "frame": vars(self.frame),
            "limits": vars(self.limits),
            "enums": {
                name: {member.name: int(member) for member in enum.python}
                for name, enum in self.enums.items()
            },
            "records": {name: fields(record.fields) for name, record in self.records.items()},
            "messages": {
                name: [message.id, message.kind, message.answer, fields(message.fields)]
                for name, message in self.messages.items()
            },
        }
        text = json.dumps(content, sort_keys=True, separators=(",", ":"), ensure_ascii=True)
        return text.encode("ascii")

    @cached_property
    def digest(self) -> bytes:
        """The first 8 bytes of the SHA-256 of `canonical`."""
        return hashlib.sha256(self.canonical).digest()[:8]


def _list_records(messages: Mapping[str, MessageDefinition]) -> set[str]:
    """Return the names of the records in these messages' lists."""
    fields = [field for one in messages.values() for field in one.fields]
    return {field.of for field in fields if field.base == "list" and field.of is not None}


def make_class_name(name: str) -> str:
    """Return `beam_edge` as `BeamEdge`."""
    return "".join(part.capitalize() for part in name.split("_"))
