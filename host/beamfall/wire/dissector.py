"""Makes the generated part of protocol/beamfall.lua, a Wireshark dissector for the wire.

Wireshark and tshark use it to read the pcapng files that `beamfall --trace` writes:
`tshark -X lua_script:protocol/beamfall.lua -r FILE`. Each field has a filter name, `beamfall.MESSAGE.FIELD`.
"""

from __future__ import annotations

from collections.abc import Iterator

from beamfall.wire.parts import fill_parts
from beamfall.wire.schema import Definition, Field, MessageDefinition

_PROTO_FIELDS = {"u8": "uint8", "u16": "uint16", "u32": "uint32", "u64": "uint64"}


def render_dissector(definition: Definition, text: str) -> str:
    """Return beamfall.lua with its generated part written again; raises DefinitionError if a marker is missing."""
    return fill_parts(text, {"definition": "\n".join(_lines(definition)) + "\n"}, "beamfall.lua")


def _lines(definition: Definition) -> Iterator[str]:
    frame = definition.frame
    yield f"local PROTOCOL = {definition.protocol}"
    yield f"local HEADER_SIZE = {frame.header_size}"
    yield f"local CRC_SIZE = {frame.crc_size}"
    yield ""
    for enum in definition.enums.values():
        yield _names(f"enum_{enum.name}", {int(one): one.label for one in enum.python})
    labels = {one.id: one.name.replace("_", "-") for one in definition.messages.values()}
    yield _names("message_names", labels)
    yield 'f.header_message = ProtoField.uint8("beamfall.message", "message", base.HEX, message_names)'
    yield ""
    for record in definition.records.values():
        for field in record.fields:
            yield _declare(record.name, field)
    for message in definition.messages.values():
        for field in message.fields:
            yield _declare(message.name, field)
    yield ""
    yield "beamfall.fields = {}"
    yield "for _, field in pairs(f) do table.insert(beamfall.fields, field) end"
    yield ""
    for record in definition.records.values():
        yield f"local record_{record.name} = {_list_of(record.name, record.fields)}"
    yield ""
    yield "local messages = {}"
    for message in definition.messages.values():
        yield from _describe(message)


def _names(name: str, labels: dict[int, str]) -> str:
    entries = "\n".join(f'  [{value}] = "{label}",' for value, label in labels.items())
    return f"local {name} = {{\n{entries}\n}}"


def _declare(owner: str, field: Field) -> str:
    """The ProtoField of one field; a list's own field holds the number of records."""
    path = f'"beamfall.{owner}.{field.name}", "{field.name}"'
    target = f"f.{owner}_{field.name}"
    if field.base == "enum":
        return f"{target} = ProtoField.uint8({path}, base.DEC, enum_{field.of})"
    if field.base == "bytes":
        return f"{target} = ProtoField.bytes({path})"
    if field.base == "text":
        return f"{target} = ProtoField.string({path})"
    if field.base == "list":
        return f"{target} = ProtoField.uint8({path})"
    return f"{target} = ProtoField.{_PROTO_FIELDS[field.base]}({path})"


def _list_of(owner: str, fields: tuple[Field, ...]) -> str:
    entries = "\n".join(
        f"    {{ field = f.{owner}_{field.name}, size = {field.size} }}," for field in fields
    )
    return f"{{\n{entries}\n  }}" if entries else "{}"


def _describe(message: MessageDefinition) -> Iterator[str]:
    yield f"messages[0x{message.id:02X}] = {{"
    yield f'  name = "{message.name.replace("_", "-")}",'
    yield f"  fields = {_list_of(message.name, message.fixed)},"
    tail = message.tail
    if tail is not None:
        entry = f'field = f.{message.name}_{tail.name}, name = "{tail.name}"'
        if tail.base == "list":
            entry += f", record = record_{tail.of}, size = {message.tail_size}"
        yield f"  tail = {{ {entry} }},"
    yield "}"
