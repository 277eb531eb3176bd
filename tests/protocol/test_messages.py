"""Messages: the codec in use against the construct structures declared from the same definition."""

from __future__ import annotations

import re
from typing import Any

import construct
import pytest
from hypothesis import given
from hypothesis import strategies as st

from beamfall.errors import MessageError
from beamfall.wire import Message, get_codec, get_definition
from beamfall.wire.structures import build_structure, explain_payload

DEFINITION = get_definition()
CODEC = get_codec()
STRUCTURES = {name: build_structure(DEFINITION, name) for name in DEFINITION.messages}


def to_plain(value: Any) -> Any:
    """Named tuples and construct's containers, both as plain dictionaries and lists."""
    if hasattr(value, "_asdict"):
        return {name: to_plain(item) for name, item in value._asdict().items()}
    if isinstance(value, dict):
        return {
            name: to_plain(item) for name, item in value.items() if not str(name).startswith("_")
        }
    if isinstance(value, (list, tuple)):
        return [to_plain(item) for item in value]
    return value


@given(st.data())
def test_a_message_comes_back_as_it_was(any_message: Any, data: st.DataObject) -> None:
    message = data.draw(any_message)
    payload = CODEC.encode(message)
    assert len(payload) <= DEFINITION.messages[message.name].largest
    decoded = CODEC.decode(message.name, payload)
    assert decoded == message
    types = {name: type(value) for name, value in message.fields.items()}
    assert {name: type(value) for name, value in decoded.fields.items()} == types


@given(st.data())
def test_codec_and_construct_agree_on_good_messages(any_message: Any, data: st.DataObject) -> None:
    message = data.draw(any_message)
    structure = STRUCTURES[message.name]
    payload = CODEC.encode(message)
    assert structure.build(to_plain(message.fields)) == payload
    assert to_plain(dict(structure.parse(payload))) == to_plain(message.fields)


@given(st.sampled_from(sorted(DEFINITION.messages)), st.binary(max_size=260), st.data())
def test_codec_and_construct_agree_on_bad_payloads(
    name: str, payload: bytes, data: st.DataObject
) -> None:
    if data.draw(st.booleans()):  # near misses: right length, other bytes
        size = DEFINITION.messages[name].smallest
        payload = data.draw(st.binary(min_size=size, max_size=size + 1))
    try:
        STRUCTURES[name].parse(payload)
    except construct.ConstructError:
        with pytest.raises(MessageError):
            CODEC.decode(name, payload)
    else:
        CODEC.decode(name, payload)
        assert explain_payload(DEFINITION, name, payload) == ""


def test_a_bad_payload_is_explained_by_its_place() -> None:
    with pytest.raises(MessageError, match="edges.*216 .*215 .*ticks"):
        CODEC.decode("edges", bytes(13) + b"\x24" + b"\x09\x03\0\0\0\0" * 35 + b"\x09\x03\0\0\0")


# The message, the field at fault, and what the error must name beside it.
@pytest.mark.parametrize(
    ("message", "where", "named"),
    [
        (Message("drop", {}), "", "'drop'"),
        (Message("status", {"on": 1}), "status", ("on",)),
        (Message("drip", {"output": 1}), "drip", ("width_ticks",)),
        (Message("drip", {"output": 1, "width": 2}), "drip", ("width_ticks", "width")),
        (Message("drip", {"output": 77, "width_ticks": 1}), "drip.output", "77.*enum:signal"),
        (Message("drip", {"output": 1, "width_ticks": -1}), "drip.width_ticks", "-1"),
        (Message("drip", {"output": 1, "width_ticks": 2**32}), "drip.width_ticks", "4294967295"),
        (Message("drip", {"output": 1, "width_ticks": 1.5}), "drip.width_ticks", r"1\.5"),
        (Message("hello", {"definition": b"short"}), "hello.definition", "b'short'.*8"),
        (Message("trouble", {"text": "µ" * 49}), "trouble.text", "98.*96"),
        (Message("trouble", {"text": "\ud800"}), "trouble.text", "ud800"),
        (Message("table_rows", {"first": 0, "rows": [(0,) * 6]}), "row 0.output", "0.*enum:signal"),
        (Message("table_rows", {"first": 0, "rows": [(0, 0, 1, 0, 5)]}), "row 0", "5.*6"),
        (Message("table_rows", {"first": 0, "rows": [(0, 0, 1, 0, 5, -5)]}), "row 0.width_ticks", "-5"),
        (Message("table_rows", {"first": 0, "rows": [(0, 0, 1, 0, 5, 5)] * 19}), "table_rows.rows", "19.*18"),
    ],
)  # fmt: skip
def test_a_message_that_does_not_fit_names_the_field(
    message: Message, where: str, named: str | tuple[str, ...]
) -> None:
    with pytest.raises(MessageError) as caught:
        CODEC.encode(message)
    assert caught.value.where == where
    if isinstance(named, tuple):
        assert caught.value.names == named
    else:
        assert re.search(named, str(caught.value))


def test_records_can_be_given_by_name() -> None:
    row = {"anchor": 0, "count": 0, "output": 1, "spare": 0, "delay_ticks": 7, "width_ticks": 9}
    by_name = CODEC.encode(Message("table_rows", {"first": 3, "rows": [row]}))
    assert by_name == CODEC.encode(
        Message("table_rows", {"first": 3, "rows": [(0, 0, 1, 0, 7, 9)]})
    )


def test_enums_know_their_words() -> None:
    state = DEFINITION.enum("state")["armed_for_sensor"]
    assert (int(state), state.label) == (1, "armed-for-sensor")
    cause = DEFINITION.enum("cause")["no_edge"]
    assert "beam" in cause.meaning
    assert "drip" in cause.cure
