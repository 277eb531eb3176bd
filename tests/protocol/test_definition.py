"""A messages.toml that contradicts itself is refused, and the message names the entry."""

from __future__ import annotations

import copy
import tomllib
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from beamfall.errors import DefinitionError
from beamfall.resources import find_protocol
from beamfall.wire import get_definition, load_definition
from beamfall.wire.definition import parse_definition

CONTENT = tomllib.loads((find_protocol() / "messages.toml").read_text(encoding="utf-8"))


def find_message(content: dict[str, Any], name: str) -> dict[str, Any]:
    return next(message for message in content["messages"] if message["name"] == name)


def change_signal(name: str, /, **values: Any) -> Callable[[dict[str, Any]], None]:
    return lambda content: content["enums"]["signal"]["values"][name].update(values)


def add_field(name: str, field: dict[str, Any]) -> Callable[[dict[str, Any]], None]:
    return lambda content: find_message(content, name)["fields"].append(field)


def change(name: str, /, **values: Any) -> Callable[[dict[str, Any]], None]:
    return lambda content: find_message(content, name).update(values)


# What is done to the file, the entry at fault, and what the message must name beside it.
@pytest.mark.parametrize(
    ("spoil", "entry", "named"),
    [
        (change("status", id=1), "message status", "0x01.*hello"),
        (change("status", id=0x90), "message status.id", "144.*47"),
        (change("status", name="hello"), "message hello", "twice"),
        (change("status", kind="question"), "message status", "kind.*request"),
        (change("status", answer="hello"), "message status", "'hello'"),
        (change("done", answer="done"), "message done", "answer"),
        (change("status", colour=1), "message status", "colour"),
        (add_field("status", {"name": "x", "type": "u7"}), "message status.x", "'u7'"),
        (add_field("status", {"name": "x", "type": "float"}), "message status.x", "'float'"),
        (add_field("status", {"name": "x", "type": "enum:hue"}), "message status.x", "enum 'hue'"),
        (add_field("status", {"name": "x", "type": "list:hue", "max": 1}), "message status.x", "record 'hue'"),
        (add_field("status", {"name": "x", "type": "list:row"}), "message status.x.max", "None"),
        (add_field("status", {"name": "x", "type": "bytes:300"}), "message status", "300"),
        (add_field("trouble", {"name": "x", "type": "u8"}), "message trouble.text", "last"),
        (add_field("drip", {"name": "output", "type": "u8"}), "message drip.output", "twice"),
        (lambda c: c["frame"].update(payload_max=241), "frame.frame_max", "255"),
        (lambda c: c["frame"].update(header_size=9), "frame.header_size", "8"),
        (lambda c: c["limits"].update(rows_per_part=17), "message table_rows", "17"),
        (lambda c: c["limits"].pop("text_max"), "limits", "text_max"),
        (lambda c: c["enums"]["state"]["values"]["fired"].update(value=0), "enums.state.fired", "idle"),
        (lambda c: c["enums"]["state"]["values"]["fired"].update(value=256), "enums.state.fired", "256"),
        (change_signal("flash2", kind="pump"), "enums.signal.flash2", "'pump'"),
        (change_signal("flash2", number=3), "enums.signal.flash2", "number.*2"),
        (change_signal("flash2", value=16), "enums.signal.flash2", "value.*16"),
        (change_signal("flash2", formerly="flash1"), "enums.signal.flash2", "flash1"),
        (lambda c: c["enums"]["signal"]["kinds"]["beam"].update(output=2), "enums.signal.kinds.beam", "output"),
        (lambda c: c.pop("protocol"), "the file", "protocol"),
        (lambda c: c["records"]["row"]["fields"].append({"name": "t", "type": "text"}), "records.row.t", "size"),
    ],
)  # fmt: skip
def test_a_contradiction_is_refused(
    spoil: Callable[[dict[str, Any]], None], entry: str, named: str
) -> None:
    content = copy.deepcopy(CONTENT)
    spoil(content)
    with pytest.raises(DefinitionError, match=named) as caught:
        parse_definition(content, "messages.toml")
    assert caught.value.entry == entry
    assert "messages.toml" in str(caught.value)


def test_a_file_that_cannot_be_read_is_named(tmp_path: Path) -> None:
    path = tmp_path / "messages.toml"
    with pytest.raises(DefinitionError, match=r"messages\.toml"):
        load_definition(path)
    path.write_text("protocol = ", encoding="utf-8")
    with pytest.raises(DefinitionError, match=r"messages\.toml"):
        load_definition(path)


def test_words_do_not_count_for_the_digest_but_numbers_do() -> None:
    content = copy.deepcopy(CONTENT)
    content["enums"]["cause"]["values"]["no_edge"]["meaning"] = "other words"
    find_message(content, "status")["meaning"] = "other words"
    assert parse_definition(content, "x").digest == get_definition().digest
    content["limits"]["report_window"] += 1
    del content["extends"]  # it is none of the earlier ones any more
    assert parse_definition(content, "x").digest != get_definition().digest
