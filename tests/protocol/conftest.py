"""What the protocol's tests share: random messages made from the definition."""

from __future__ import annotations

import json
from collections.abc import Callable
from typing import Any

import pytest
from hypothesis import strategies as st

from beamfall.resources import find_protocol
from beamfall.wire import Definition, Message, get_definition
from beamfall.wire.schema import Field


def field_values(definition: Definition, field: Field) -> st.SearchStrategy[Any]:
    if field.base == "bytes":
        return st.binary(min_size=field.size, max_size=field.size)
    if field.base == "enum":
        return st.sampled_from(list(definition.enum(field.of)))
    if field.base == "text":
        # 4 bytes of UTF-8 is the most that a character takes
        return st.text(st.characters(codec="utf-8"), max_size=field.max // 4)
    if field.base == "list":
        record = definition.records[field.of]
        parts = st.tuples(*(field_values(definition, part) for part in record.fields))
        return st.lists(parts.map(lambda values: record.python(*values)), max_size=field.max).map(
            tuple
        )
    return st.integers(0, (1 << 8 * field.size) - 1)


def messages_of(definition: Definition) -> st.SearchStrategy[Message]:
    return st.one_of(
        *(
            st.fixed_dictionaries(
                {field.name: field_values(definition, field) for field in message.fields}
            ).map(lambda fields, name=message.name: Message(name, fields))
            for message in definition.messages.values()
        )
    )


@pytest.fixture(scope="session")
def any_message() -> st.SearchStrategy[Message]:
    return messages_of(get_definition())


@pytest.fixture(scope="session")
def vectors() -> dict[str, Any]:
    return json.loads((find_protocol() / "vectors.json").read_text(encoding="utf-8"))


@pytest.fixture(scope="session")
def to_message() -> Callable[[dict[str, Any]], Message]:
    """Read a vector's fields as SPEC.md says: enums by name, bytes as hex, u64 as decimal text."""
    definition = get_definition()

    def read(field: Field, value: Any) -> Any:
        if field.base == "enum":
            return definition.enum(field.of)[value]
        if field.base == "bytes":
            return bytes.fromhex(value)
        if field.base == "list":
            record = definition.records[field.of]
            return tuple(
                record.python(*(read(part, entry[part.name]) for part in record.fields))
                for entry in value
            )
        return int(value) if field.base == "u64" else value

    def convert(vector: dict[str, Any]) -> Message:
        fields = definition.messages[vector["message"]].fields
        return Message(
            vector["message"],
            {field.name: read(field, vector["fields"][field.name]) for field in fields},
        )

    return convert
