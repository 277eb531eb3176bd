"""Messages: turns a payload into named fields and back, as messages.toml defines them.

There are two decoders, made from the same definition. `Codec`, in this file, does the work: one
`struct` call for the fixed fields, one for all records of a list. `structures.py` declares the same
as construct structures; they find the exact byte at which a payload refused by `Codec` goes
wrong, and tests check that the two agree on random messages. The reason is time: a report of 36
edges takes 187 us to parse in plain construct 2.10.70, 33 us compiled (and compiled parsers are not
for damaged data), about 11 us here (CPython 3.11, one core of a small server), and construct
alone takes 27 ms to import, which every command would pay.
"""

from __future__ import annotations

import struct
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from typing import Any

from beamfall.errors import MessageError
from beamfall.wire.definition import get_definition
from beamfall.wire.framing import Frame
from beamfall.wire.schema import Definition, Field, MessageDefinition, RecordDefinition


@dataclass(frozen=True, slots=True)
class Message:
    """One message: its name and its fields by name.

    Values are int (u8 to u64), WireEnum members (enum; to send, a plain int is enough), bytes,
    str (text), and tuples of named tuples (list; to send, any sequence of tuples is enough).
    """

    name: str
    fields: Mapping[str, Any]

    def __getitem__(self, field: str) -> Any:
        return self.fields[field]


class Codec:
    """Encodes and decodes the payloads of all messages of one definition."""

    def __init__(self, definition: Definition) -> None:
        self.definition = definition
        self._codecs = {
            message.name: _MessageCodec(definition, message)
            for message in definition.messages.values()
        }

    def encode(self, message: Message) -> bytes:
        """Return the payload of `message`; raises MessageError, which names the wrong field."""
        return self._find(message.name).encode(message.fields)

    def decode(self, name: str, payload: bytes) -> Message:
        """Return the message `name` read from `payload`; raises MessageError (`bad_payload`)."""
        codec = self._find(name)
        try:
            return Message(name, codec.decode(payload))
        except MessageError as error:
            raise error.explain(self._explain(name, payload)) from error

    def decode_frame(self, frame: Frame) -> Message:
        """Return the message in a good frame; raises MessageError (`bad_payload`)."""
        return self.decode(self.definition.by_id[frame.message].name, frame.payload)

    def make_frame(self, message: Message, session: int, number: int) -> Frame:
        """Return the frame that carries `message`."""
        payload = self.encode(message)
        identity = self.definition.messages[message.name].id
        return Frame(self.definition.protocol, identity, session, number, payload)

    def encode_records(self, name: str, records: Sequence[Any]) -> bytes:
        """Return the records `name` of a list one after the other, without a count."""
        return _RecordCodec(self.definition, self.definition.records[name]).encode(records)

    def _find(self, name: str) -> _MessageCodec:
        try:
            return self._codecs[name]
        except KeyError:
            raise MessageError(
                f"there is no message {name!r}; there are {', '.join(self._codecs)}"
            ) from None

    def _explain(self, name: str, payload: bytes) -> str:
        # Construct is slow to load, so it is loaded only for a bad payload.
        from beamfall.wire.structures import explain_payload

        why = explain_payload(self.definition, name, payload)
        return f"; {why}" if why else ""


@cache
def get_codec() -> Codec:
    """Return the codec of the definition that comes with this package."""
    return Codec(get_definition())


class _RecordCodec:
    """Decodes all records of a list at once, column by column, which is fast in Python."""

    def __init__(self, definition: Definition, record: RecordDefinition) -> None:
        self._name = record.name
        self._fields = record.fields
        self._struct = struct.Struct(record.format)
        self._make: Callable[..., Any] = record.python
        self._enums = [
            (index, _members(definition, field), field)
            for index, field in enumerate(record.fields)
            if field.base == "enum"
        ]

    def decode(self, data: bytes) -> tuple[Any, ...]:
        if not data:
            return ()
        columns: list[Any] = list(zip(*self._struct.iter_unpack(data), strict=True))
        for index, members, field in self._enums:
            try:
                columns[index] = [members[value] for value in columns[index]]
            except KeyError as error:
                raise _undefined(f"{self._name}.{field.name}", field, error.args[0]) from None
        return tuple(map(self._make, *columns))

    def encode(self, records: Sequence[Any]) -> bytes:
        parts: list[bytes] = []
        for position, record in enumerate(records):
            where = f"{self._name} {position}"
            if isinstance(record, Mapping):
                record = _order(self._fields, record, where)
            try:
                parts.append(self._struct.pack(*record))
            except (struct.error, TypeError) as error:
                raise _misfit(self._fields, record, where) from error
            for index, members, field in self._enums:
                if record[index] not in members:
                    raise _undefined(f"{where}.{field.name}", field, record[index])
        return b"".join(parts)


class _MessageCodec:
    def __init__(self, definition: Definition, message: MessageDefinition) -> None:
        self._message = message
        self._struct = struct.Struct(message.format)
        self._names = [field.name for field in message.fixed]
        self._enums = [
            (field, _members(definition, field)) for field in message.fixed if field.base == "enum"
        ]
        self._bytes = [field for field in message.fixed if field.base == "bytes"]
        tail = message.tail
        self._tail = tail
        self._records = (
            _RecordCodec(definition, definition.records[tail.of])
            if tail is not None and tail.of is not None
            else None
        )

    def decode(self, payload: bytes) -> Mapping[str, Any]:
        name, size, fixed = self._message.name, len(payload), self._message.fixed_size
        if size < self._message.smallest or (self._tail is None and size > fixed):
            raise MessageError(f"a payload of {size} bytes; {self._say_size()}", where=name)
        fields: dict[str, Any] = dict(
            zip(self._names, self._struct.unpack_from(payload), strict=True)
        )
        for field, members in self._enums:
            value = fields[field.name]
            if value not in members:
                raise _undefined(f"{name}.{field.name}", field, value)
            fields[field.name] = members[value]
        if self._tail is not None:
            count, content = payload[fixed], payload[fixed + 1 :]
            self._check_count(self._tail, count)
            if len(content) != count * self._message.tail_size:
                raise MessageError(
                    f"the count {count} asks for {count * self._message.tail_size} bytes, {len(content)} follow",
                    where=f"{name}.{self._tail.name}",
                )
            fields[self._tail.name] = self._decode_tail(self._tail, content)
        return fields

    def encode(self, fields: Mapping[str, Any]) -> bytes:
        name = self._message.name
        if len(fields) != len(self._message.fields):
            raise _unlike(self._message.fields, fields, name)
        try:
            values = [fields[field] for field in self._names]
        except KeyError:
            raise _unlike(self._message.fields, fields, name) from None
        for field, members in self._enums:
            if fields[field.name] not in members:
                raise _undefined(f"{name}.{field.name}", field, fields[field.name])
        for field in self._bytes:
            # struct would pad or cut silently
            if not isinstance(fields[field.name], bytes) or len(fields[field.name]) != field.size:
                raise _misfit(self._message.fixed, values, name)
        try:
            payload = self._struct.pack(*values)
        except struct.error as error:
            raise _misfit(self._message.fixed, values, name) from error
        if self._tail is None:
            return payload
        if self._tail.name not in fields:
            raise _unlike(self._message.fields, fields, name)
        count, content = self._encode_tail(self._tail, fields[self._tail.name])
        self._check_count(self._tail, count)
        return payload + bytes((count,)) + content

    def _check_count(self, tail: Field, count: int) -> None:
        if tail.max is not None and count > tail.max:
            things = "bytes of UTF-8" if self._records is None else "records"
            raise MessageError(
                f"{count} {things}; at most {tail.max}", where=f"{self._message.name}.{tail.name}"
            )

    def _decode_tail(self, tail: Field, content: bytes) -> Any:
        if self._records is not None:
            return self._records.decode(content)
        try:
            return content.decode("utf-8")
        except UnicodeDecodeError as error:
            raise MessageError(
                f"not UTF-8 at byte {error.start}", where=f"{self._message.name}.{tail.name}"
            ) from error

    def _encode_tail(self, tail: Field, value: Any) -> tuple[int, bytes]:
        if self._records is not None:
            content = self._records.encode(value)
            return len(value), content
        try:
            content = value.encode("utf-8")
        except (AttributeError, UnicodeEncodeError) as error:
            raise MessageError(
                f"UTF-8 cannot encode {value!r}", where=f"{self._message.name}.{tail.name}"
            ) from error
        return len(content), content

    def _say_size(self) -> str:
        least, most = self._message.smallest, self._message.largest
        return f"it takes {least}" if least == most else f"it takes {least} to {most}"


def _members(definition: Definition, field: Field) -> dict[int, Any]:
    return {int(member): member for member in definition.enum(field.of or "")}


def _undefined(where: str, field: Field, value: Any) -> MessageError:
    return MessageError(f"{value!r} is not a value of {field.type}", where=where)


def _order(fields: tuple[Field, ...], record: Mapping[str, Any], where: str) -> list[Any]:
    if set(record) != {field.name for field in fields}:
        raise _unlike(fields, record, where)
    return [record[field.name] for field in fields]


def _unlike(fields: tuple[Field, ...], given: Mapping[str, Any], where: str) -> MessageError:
    names = [field.name for field in fields]
    missing = [name for name in names if name not in given]
    unknown = [str(name) for name in given if name not in names]
    problems = [f"{', '.join(missing)} missing"] if missing else []
    problems += [f"{', '.join(unknown)} unknown"] if unknown else []
    return MessageError(
        f"{'; '.join(problems)}; its fields are {', '.join(names)}",
        where=where,
        names=(*missing, *unknown),
    )


def _misfit(fields: tuple[Field, ...], values: Any, where: str) -> MessageError:
    """Say which of `values` does not fit its field."""
    try:
        given = list(values)
    except TypeError:
        return MessageError(f"{values!r} is not a record", where=where)
    if len(given) != len(fields):
        return MessageError(f"{len(given)} values for {len(fields)} fields", where=where)
    for field, value in zip(fields, given, strict=True):
        if field.base == "bytes":
            if not isinstance(value, bytes) or len(value) != field.size:
                return MessageError(
                    f"{value!r} is not {field.size} bytes", where=f"{where}.{field.name}"
                )
            continue
        most = (1 << 8 * field.size) - 1
        if not isinstance(value, int) or not 0 <= value <= most:
            return MessageError(
                f"{value!r} is not a whole number from 0 to {most}", where=f"{where}.{field.name}"
            )
    return MessageError(f"the values {given!r} do not fit", where=where)
