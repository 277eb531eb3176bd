"""The messages as construct structures, declared from messages.toml.

Imported only when needed: construct takes longer to load than most commands take to run.
messages.py says which decoder is used when.
"""

from __future__ import annotations

from typing import Any

import construct

from beamfall.wire.schema import Definition, Field

_INTEGERS = {
    "u8": construct.Int8ul,
    "u16": construct.Int16ul,
    "u32": construct.Int32ul,
    "u64": construct.Int64ul,
}


def build_structure(definition: Definition, name: str) -> Any:
    """Return the construct structure of the payload of message `name`, with nothing after it."""
    fields = [
        construct.Renamed(_build_field(definition, field), newname=field.name)
        for field in definition.messages[name].fields
    ]
    return construct.Struct(*fields, "_end" / construct.Terminated)


def explain_payload(definition: Definition, name: str, payload: bytes) -> str:
    """Return where and why `payload` is not a payload of message `name`; empty if it is one."""
    try:
        build_structure(definition, name).parse(payload)
    except construct.ConstructError as error:
        first = str(error).strip().splitlines()
        path = (getattr(error, "path", "") or "").replace("(parsing) -> ", "")
        reason = " ".join(line for line in first if not line.startswith("Error in path"))
        return f"at {path}: {reason}" if path else reason
    return ""


def _build_field(definition: Definition, field: Field) -> Any:
    if field.base in _INTEGERS:
        return _INTEGERS[field.base]
    if field.base == "bytes":
        return construct.Bytes(field.size)
    if field.base == "enum":
        defined = {int(member) for member in definition.enum(field.of or "")}
        return construct.ExprValidator(
            construct.Int8ul, lambda value, context, defined=defined: int(value) in defined
        )
    count = construct.ExprValidator(
        construct.Int8ul, lambda value, context, most=field.max: value <= most
    )
    if field.base == "text":
        return construct.PascalString(count, "utf8")
    record = construct.Struct(
        *(
            construct.Renamed(_build_field(definition, part), newname=part.name)
            for part in definition.records[field.of or ""].fields
        )
    )
    return construct.PrefixedArray(count, record)
