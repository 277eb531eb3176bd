"""Makes firmware/beamfall_board/wire_definition.py: messages.toml as constants for MicroPython."""

from __future__ import annotations

from collections.abc import Iterator

from beamfall.wire.schema import Definition, Field, MessageDefinition

# What the firmware calls the values of each enum; other enums keep their own name.
_PREFIXES = {"beam_edge": "EDGE"}

_LINE_LENGTH = 100
_PER_LINE = 16  # values per line when a tuple does not fit on one

_TOP = '''"""The wire's constants, for the firmware.

Made from protocol/messages.toml by `python -m beamfall.wire.regenerate`: do not edit.
FORMAT_* are `struct` formats of a message's fixed fields; a list or text follows them as one count
byte and then the records (FORMAT_<RECORD>, SIZE_<RECORD> bytes each) or the UTF-8 bytes. Each name
takes some 40 bytes of a board's memory: a field alone has no FORMAT, a request no FIXED (REQUESTS
has it), an enum no VALUES unless a request holds it.
"""

try:
    from micropython import const
except ImportError:  # under CPython

    def const(value):
        return value

'''


def render_firmware_definition(definition: Definition) -> str:
    """Return the source of wire_definition.py."""
    return _TOP + "\n".join(_lines(definition)) + "\n"


def _lines(definition: Definition) -> Iterator[str]:
    frame, limits = definition.frame, definition.limits
    yield ""
    yield f"PROTOCOL = const({definition.protocol})"
    yield f"DEFINITION = {_bytes_literal(definition.digest)}  # digest of messages.toml"
    yield "EXTENDED = ("  # digests of earlier definitions that this one extends
    for extended in definition.extends:
        yield f"    {_bytes_literal(extended.digest)},"
    yield ")"
    for name, size in vars(frame).items():
        yield f"{name.upper()} = const({size})"
    yield 'FORMAT_HEADER = "<BBHI"  # protocol, message, session, number'
    yield ""
    checked = {field.of for fields in _fields_to_board(definition) for field in fields}
    for name, limit in vars(limits).items():
        yield f"{name.upper()} = const({limit})"
    for enum in definition.enums.values():
        yield ""
        prefix = _PREFIXES.get(enum.name, enum.name.upper())
        for member in enum.python:
            yield f"{prefix}_{member.name.upper()} = const({int(member)})"
        if enum.name in checked:
            yield from _tuple_lines(f"{prefix}_VALUES", [int(member) for member in enum.python])
    yield ""
    yield "# signals of each kind, number 1 first"
    for signal_kind in definition.signal_kinds:
        values = [one.value for one in definition.signals if one.kind == signal_kind.name]
        yield from _tuple_lines(f"KIND_{signal_kind.name.upper()}", values)
    for record in definition.records.values():
        yield ""
        yield f'FORMAT_{record.name.upper()} = "{record.format}"'
        yield f"SIZE_{record.name.upper()} = const({record.size})"
    for kind in ("request", "notice", "answer", "report", "beacon"):
        yield ""
        yield f"# {kind}s"
        for message in definition.messages.values():
            if message.kind == kind:
                yield from _message_lines(message)
    yield ""
    yield "# requests: id -> bytes of the fixed fields; LISTS also has those with a list"
    yield "REQUESTS = {"
    for message in definition.messages.values():
        if message.kind == "request":
            yield f"    MSG_{message.name.upper()}: {message.fixed_size},"
    yield "}"
    yield ""
    yield "# messages to the board that end in a list: id -> (bytes of one record, most records)"
    yield "LISTS = {"
    for message in definition.messages.values():
        tail = message.tail
        if message.kind in ("request", "notice") and tail is not None and tail.base == "list":
            yield f"    MSG_{message.name.upper()}: ({message.tail_size}, {tail.max}),"
    yield "}"
    yield ""
    yield "# enum fields of messages to the board: id -> ((offset in the payload, values), ...)"
    yield "ENUM_FIELDS = {"
    for message in definition.messages.values():
        if message.kind in ("request", "notice"):
            yield from _place_lines(message, message.fixed)
    yield "}"
    yield ""
    yield "# the same within one record of the list: id -> ((offset in the record, values), ...)"
    yield "LIST_ENUM_FIELDS = {"
    for message in definition.messages.values():
        tail = message.tail
        if message.kind in ("request", "notice") and tail is not None and tail.base == "list":
            yield from _place_lines(message, definition.records[tail.of or ""].fields)
    yield "}"


def _message_lines(message: MessageDefinition) -> Iterator[str]:
    name = message.name.upper()
    yield f"MSG_{name} = const(0x{message.id:02X})"
    if len(message.fixed) > 1:
        yield f'FORMAT_{name} = "{message.format}"'
        if message.kind in ("answer", "report", "beacon"):
            yield f"FIXED_{name} = const({message.fixed_size})"


def _fields_to_board(definition: Definition) -> Iterator[tuple[Field, ...]]:
    """The fields that the board has to check: of messages to it, and of the records in their lists."""
    for message in definition.messages.values():
        if message.kind in ("request", "notice"):
            yield message.fixed
            if message.tail is not None and message.tail.base == "list":
                yield definition.records[message.tail.of or ""].fields


def _place_lines(message: MessageDefinition, fields: tuple[Field, ...]) -> Iterator[str]:
    offset = 0
    places = []
    for field in fields:
        if field.base == "enum" and field.of is not None:
            places.append(f"({offset}, {_PREFIXES.get(field.of, field.of.upper())}_VALUES)")
        offset += field.size
    if places:
        text = ", ".join(places) + ("," if len(places) == 1 else "")
        yield f"    MSG_{message.name.upper()}: ({text}),"


def _tuple_lines(name: str, values: list[int]) -> Iterator[str]:
    text = ", ".join(str(value) for value in values)
    line = f"{name} = ({text}{',' if len(values) == 1 else ''})"
    if len(line) <= _LINE_LENGTH:
        yield line
        return
    yield f"{name} = ("
    for start in range(0, len(values), _PER_LINE):
        part = values[start : start + _PER_LINE]
        yield "    " + ", ".join(str(value) for value in part) + ","
    yield ")"


def _bytes_literal(data: bytes) -> str:
    return 'b"' + "".join(f"\\x{byte:02x}" for byte in data) + '"'
