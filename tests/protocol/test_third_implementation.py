"""A third implementation of the wire, written from SPEC.md and messages.toml alone.

It uses nothing of Beamfall's code: only the standard library's struct, zlib, hashlib, json, tomllib.
If SPEC.md left something out, or vectors.json held what only our own code understands, it would
fail here. Its COBS is the byte-by-byte form of the paper, unlike the host's and the firmware's.
"""

from __future__ import annotations

import hashlib
import json
import struct
import tomllib
import zlib
from pathlib import Path
from typing import Any

import pytest

PROTOCOL = Path(__file__).parents[2] / "protocol"
TOML = tomllib.loads((PROTOCOL / "messages.toml").read_text(encoding="utf-8"))
VECTORS = json.loads((PROTOCOL / "vectors.json").read_text(encoding="utf-8"))
TRANSCRIPTS = json.loads((PROTOCOL / "transcripts.json").read_text(encoding="utf-8"))
BY_ID = {message["id"]: message for message in TOML["messages"]}
BY_NAME = {message["name"]: message for message in TOML["messages"]}
LONGEST = TOML["frame"]["frame_max"] - 1
CODES = {"u8": "B", "u16": "H", "u32": "I", "u64": "Q"}


class Bad(Exception):
    """The frame error of that name."""


def stuff(data: bytes) -> bytes:
    out, block = bytearray(), bytearray()
    ended = False  # a full block ended the data so far, with no zero implied
    for byte in data:
        ended = False
        if byte:
            block.append(byte)
        if not byte or len(block) == 254:
            out += bytes([len(block) + 1]) + block
            ended = bool(byte)
            block.clear()
    return bytes(out if ended else out + bytes([len(block) + 1]) + block)


def unstuff(block: bytes) -> bytes:
    out, at = bytearray(), 0
    while at < len(block):
        code = block[at]
        if at + code > len(block):
            raise Bad("bad_cobs")
        out += block[at + 1 : at + code]
        at += code
        if code < 255 and at < len(block):
            out.append(0)
    return bytes(out)


def pack_field(field: dict[str, Any], value: Any) -> bytes:
    kind, _, of = field["type"].partition(":")
    if kind == "bytes":
        return bytes.fromhex(value)
    if kind == "enum":
        return bytes([TOML["enums"][of]["values"][value]["value"]])
    if kind == "text":
        content = value.encode("utf-8")
        return bytes([len(content)]) + content
    if kind == "list":
        parts = TOML["records"][of]["fields"]
        content = b"".join(pack_field(p, row[p["name"]]) for row in value for p in parts)
        return bytes([len(value)]) + content
    return struct.pack("<" + CODES[kind], int(value))


def take(payload: bytes, size: int) -> tuple[bytes, bytes]:
    if len(payload) < size:
        raise Bad("bad_payload")
    return payload[:size], payload[size:]


def unpack_field(field: dict[str, Any], payload: bytes) -> tuple[Any, bytes]:
    kind, _, of = field["type"].partition(":")
    if kind == "bytes":
        data, payload = take(payload, int(of))
        return data.hex(), payload
    if kind == "enum":
        data, payload = take(payload, 1)
        names = {entry["value"]: name for name, entry in TOML["enums"][of]["values"].items()}
        if data[0] not in names:
            raise Bad("bad_payload")
        return names[data[0]], payload
    if kind == "text":
        head, payload = take(payload, 1)
        data, payload = take(payload, head[0])
        if head[0] > TOML["limits"]["text_max"]:
            raise Bad("bad_payload")
        try:
            return data.decode("utf-8"), payload
        except UnicodeDecodeError:
            raise Bad("bad_payload") from None
    if kind == "list":
        head, payload = take(payload, 1)
        if head[0] > field["max"]:
            raise Bad("bad_payload")
        rows = []
        for _ in range(head[0]):
            row = {}
            for part in TOML["records"][of]["fields"]:
                row[part["name"]], payload = unpack_field(part, payload)
            rows.append(row)
        return rows, payload
    code = CODES[kind]
    data, payload = take(payload, struct.calcsize(code))
    (number,) = struct.unpack("<" + code, data)
    return str(number) if kind == "u64" else number, payload


def write(name: str, fields: dict[str, Any], session: int, number: int) -> bytes:
    message = BY_NAME[name]
    payload = b"".join(pack_field(field, fields[field["name"]]) for field in message["fields"])
    body = struct.pack("<BBHI", TOML["protocol"], message["id"], session, number) + payload
    return stuff(body + struct.pack("<I", zlib.crc32(body))) + b"\0"


def read(block: bytes) -> tuple[str, dict[str, Any], int, int]:
    if not block:
        raise Bad("empty")
    if len(block) > LONGEST:
        raise Bad("over_long")
    if 0 in block:
        raise Bad("zero_inside")
    body = unstuff(block)
    if len(body) < 12:
        raise Bad("truncated")
    if struct.unpack("<I", body[-4:])[0] != zlib.crc32(body[:-4]):
        raise Bad("bad_crc")
    protocol, identity, session, number = struct.unpack("<BBHI", body[:8])
    if protocol != TOML["protocol"]:
        raise Bad("wrong_version")
    if identity not in BY_ID:
        raise Bad("unknown_message")
    payload, fields = body[8:-4], {}
    for field in BY_ID[identity]["fields"]:
        fields[field["name"]], payload = unpack_field(field, payload)
    if payload:
        raise Bad("bad_payload")
    return BY_ID[identity]["name"], fields, session, number


@pytest.mark.parametrize("vector", VECTORS["good"], ids=lambda vector: vector["name"])
def test_good_frames(vector: dict[str, Any]) -> None:
    line = bytes.fromhex(vector["frame"])
    values = (vector["message"], vector["fields"], vector["session"], vector["number"])
    assert read(line[:-1]) == values
    assert write(*values) == line


@pytest.mark.parametrize("vector", VECTORS["bad"], ids=lambda vector: vector["name"])
def test_bad_blocks(vector: dict[str, Any]) -> None:
    with pytest.raises(Bad, match=f"^{vector['error']}$"):
        read(bytes.fromhex(vector["block"]))


@pytest.mark.parametrize("stream", VECTORS["streams"], ids=lambda stream: stream["name"])
def test_streams(stream: dict[str, Any]) -> None:
    frames = {vector["name"]: vector for vector in VECTORS["good"]}
    found: list[Any] = []
    for block in bytes.fromhex(stream["bytes"]).split(b"\0")[:-1]:
        if block:
            try:
                found.append(read(block)[:2])
            except Bad as error:
                found.append(str(error))
    expected = [
        (frames[f["good"]]["message"], frames[f["good"]]["fields"]) if "good" in f else f["error"]
        for f in stream["found"]
    ]
    assert found == expected


@pytest.mark.parametrize("story", TRANSCRIPTS["transcripts"], ids=lambda story: story["name"])
def test_transcripts(story: dict[str, Any]) -> None:
    frames = [step for step in story["steps"] if "frame" in step]
    assert frames
    for step in frames:
        line = bytes.fromhex(step["frame"])
        values = (step["message"], step["fields"], step["session"], step["number"])
        assert read(line[:-1]) == values
        assert write(*values) == line


def test_definition_digest() -> None:
    def fields(entries: list[dict[str, Any]]) -> list[list[Any]]:
        return [[entry["name"], entry["type"], entry.get("max")] for entry in entries]

    content = {
        "protocol": TOML["protocol"],
        "frame": TOML["frame"],
        "limits": TOML["limits"],
        "enums": {
            name: {value: entry["value"] for value, entry in enum["values"].items()}
            for name, enum in TOML["enums"].items()
        },
        "records": {name: fields(record["fields"]) for name, record in TOML["records"].items()},
        "messages": {
            m["name"]: [m["id"], m["kind"], m.get("answer"), fields(m["fields"])]
            for m in TOML["messages"]
        },
    }
    text = json.dumps(content, sort_keys=True, separators=(",", ":"))
    assert text == VECTORS["definition"]["canonical"]
    assert hashlib.sha256(text.encode()).hexdigest() == VECTORS["definition"]["sha256"]
    assert VECTORS["definition"]["sha256"].startswith(VECTORS["definition"]["digest"])


@pytest.mark.parametrize("table", VECTORS["tables"], ids=lambda table: table["name"])
def test_table_digests(table: dict[str, Any]) -> None:
    begin = b"".join(
        pack_field(field, table["table_begin"][field["name"]])
        for field in BY_NAME["table_begin"]["fields"]
    )
    rows = pack_field({"type": "list:row"}, table["rows"])[1:]
    digest = hashlib.sha256(begin[16:] + rows).digest()[:16].hex()
    assert digest == table["digest"] == table["table_begin"]["digest"]


def test_the_worked_example_of_the_specification() -> None:
    text = (PROTOCOL / "SPEC.md").read_text(encoding="utf-8")
    line = bytes.fromhex(text.split("goes on the line:\n\n```\n")[1].split("\n```")[0])
    drip = ("drip", {"output": "valve1", "width_ticks": 500_000}, 0x5AC3, 17)
    assert read(line[:-1]) == drip
    assert write(*drip) == line
