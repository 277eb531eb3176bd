"""The committed vectors hold for the host's wire, both ways."""

from __future__ import annotations

from typing import Any

import pytest

from beamfall.errors import MessageError
from beamfall.wire import (
    Frame,
    FrameErrorName,
    Framer,
    cobs,
    compute_table_digest,
    decode_frame,
    encode_frame,
    get_codec,
    get_definition,
)

DEFINITION = get_definition()
CODEC = get_codec()


def test_every_message_has_three_good_vectors(vectors: dict[str, Any]) -> None:
    names = {vector["name"] for vector in vectors["good"]}
    sizes = ("smallest", "typical", "largest")
    assert names == {f"{message} {size}" for message in DEFINITION.messages for size in sizes}


def test_good_frames_are_read_and_written(vectors: dict[str, Any], to_message: Any) -> None:
    for vector in vectors["good"]:
        message = to_message(vector)
        line = bytes.fromhex(vector["frame"])
        frame = CODEC.make_frame(message, vector["session"], vector["number"])
        assert encode_frame(frame, DEFINITION) == line, vector["name"]
        found = decode_frame(line[:-1], DEFINITION)
        assert found == frame, vector["name"]
        assert CODEC.decode_frame(frame) == message, vector["name"]


def test_smallest_and_largest_are_that(vectors: dict[str, Any]) -> None:
    for vector in vectors["good"]:
        message = DEFINITION.messages[vector["message"]]
        size = len(vector["payload"]) // 2
        if vector["name"].endswith("smallest"):
            assert size == message.smallest
        if vector["name"].endswith("largest"):
            assert size == message.largest


def test_bad_blocks_are_refused_by_name(vectors: dict[str, Any]) -> None:
    for vector in vectors["bad"]:
        found = decode_frame(bytes.fromhex(vector["block"]), DEFINITION)
        if isinstance(found, Frame):
            with pytest.raises(MessageError):
                CODEC.decode_frame(found)
            assert vector["error"] == "bad_payload", vector["name"]
        else:
            assert found.name == vector["error"], vector["name"]


def test_every_error_has_a_bad_vector(vectors: dict[str, Any]) -> None:
    assert {vector["error"] for vector in vectors["bad"]} == {name.value for name in FrameErrorName}


@pytest.mark.parametrize("step", [1, 7, 64, 10_000])
def test_streams_are_read_however_chopped(vectors: dict[str, Any], step: int) -> None:
    frames = {vector["name"]: vector["frame"] for vector in vectors["good"]}
    for stream in vectors["streams"]:
        framer = Framer(DEFINITION)
        data = bytes.fromhex(stream["bytes"])
        found = []
        for start in range(0, len(data), step):
            for item in framer.feed(data[start : start + step]):
                if isinstance(item, Frame):
                    found.append(encode_frame(item, DEFINITION).hex())
                else:
                    found.append(item.name.value)
        expected = [frames[f["good"]] if "good" in f else f["error"] for f in stream["found"]]
        assert found == expected, stream["name"]


def test_cobs_and_digests(vectors: dict[str, Any]) -> None:
    for case in vectors["cobs"]:
        decoded, encoded = bytes.fromhex(case["decoded"]), bytes.fromhex(case["encoded"])
        assert cobs.encode(decoded) == encoded
        assert cobs.decode(encoded) == decoded
    assert vectors["definition"]["digest"] == DEFINITION.digest.hex()
    for table in vectors["tables"]:
        settings = {
            field.name: DEFINITION.enum(field.of)[value] if field.base == "enum" else value
            for field in DEFINITION.messages["table_begin"].fields
            if field.name not in ("digest", "rows")
            for value in [table["table_begin"][field.name]]
        }
        rows = [
            {
                **row,
                "anchor": DEFINITION.enum("anchor")[row["anchor"]],
                "output": DEFINITION.enum("signal")[row["output"]],
            }
            for row in table["rows"]
        ]
        assert compute_table_digest(CODEC, settings, rows).hex() == table["digest"]
