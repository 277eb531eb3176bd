"""Makes protocol/vectors.json: frames that every implementation must read, and must refuse.

All values are invented. Nothing is random: the same definition gives the same file.
"""

from __future__ import annotations

import hashlib
import json
import zlib
from typing import Any

from beamfall.wire import cobs
from beamfall.wire.framing import DELIMITER, Frame, FrameErrorName, encode_frame
from beamfall.wire.messages import Codec, Message
from beamfall.wire.schema import Definition
from beamfall.wire.table import compute_table_digest
from beamfall.wire.values import field_to_json, fields_to_json, make_value

_ABOUT = (
    "Conformance vectors for the wire of Beamfall, see SPEC.md. Made from messages.toml by "
    "`python -m beamfall.wire.regenerate`: do not edit. Bytes are hexadecimal; enums are given by "
    "name; u64 values are decimal strings, since not every JSON reader keeps 64 bits; all other "
    "integers are numbers. All values are invented."
)


def render_vectors(definition: Definition) -> str:
    """Return the text of vectors.json."""
    maker = _Maker(definition)
    good = maker.make_good()
    content = {
        "about": _ABOUT,
        "protocol": definition.protocol,
        "definition": {
            "canonical": definition.canonical.decode("ascii"),
            "sha256": hashlib.sha256(definition.canonical).hexdigest(),
            "digest": definition.digest.hex(),
        },
        "crc32": [
            {"data": data.hex(), "crc32": f"{zlib.crc32(data):08x}"}
            for data in (b"", b"123456789", bytes(32), bytes(range(256)))
        ],
        "cobs": [
            {"name": name, "decoded": data.hex(), "encoded": cobs.encode(data).hex()}
            for name, data in _cobs_cases()
        ],
        "good": good,
        "bad": maker.make_bad(),
        "streams": maker.make_streams(good),
        "tables": maker.make_tables(),
    }
    return json.dumps(content, indent=1, ensure_ascii=True) + "\n"


def _cobs_cases() -> list[tuple[str, bytes]]:
    full = bytes(range(1, 255))
    return [
        ("nothing", b""),
        ("one zero", b"\0"),
        ("two zeros", b"\0\0"),
        ("zero in the middle", b"\x11\x22\x00\x33"),
        ("zeros around", b"\0\x11\0"),
        ("253 non-zero bytes", full[:253]),
        ("254 non-zero bytes", full),
        ("zero, then 254 non-zero bytes", b"\0" + full),
        ("254 non-zero bytes, then a zero", full + b"\0"),
        ("255 non-zero bytes", full + b"\xff"),
    ]


class _Maker:
    def __init__(self, definition: Definition) -> None:
        self._definition = definition
        self._codec = Codec(definition)

    # -- good frames -------------------------------------------------------------------------------

    def make_good(self) -> list[dict[str, Any]]:
        """Every message at its smallest, typical and largest size."""
        vectors = []
        for message in self._definition.messages.values():
            for size, session, number in (
                ("smallest", 1, 1),
                ("typical", 0x5AC3, 17),
                ("largest", 0xFFFF, 0xFFFFFFFF),
            ):
                fields = {
                    field.name: make_value(self._definition, message.name, field, size)
                    for field in message.fields
                }
                if message.kind in ("notice", "beacon"):
                    number = 0
                made = Message(message.name, fields)
                frame = self._codec.make_frame(made, session, number)
                vectors.append(
                    {
                        "name": f"{message.name} {size}",
                        "message": message.name,
                        "session": session,
                        "number": number,
                        "fields": fields_to_json(self._definition, made),
                        "payload": frame.payload.hex(),
                        "frame": encode_frame(frame, self._definition).hex(),
                    }
                )
        return vectors

    # -- bad frames --------------------------------------------------------------------------------

    def make_bad(self) -> list[dict[str, Any]]:
        """Blocks as found between two delimiters, each with the one right error."""
        definition = self._definition
        status = self._codec.make_frame(Message("status", {}), 0x5AC3, 17)
        block = encode_frame(status, definition)[:-1]
        body = cobs.decode(block)
        most = definition.frame.frame_max - 1
        name = FrameErrorName
        bad = [
            (name.EMPTY, "no bytes at all", b""),
            (name.OVER_LONG, "one byte more than the longest frame", b"\x01" * (most + 1)),
            (name.OVER_LONG, "a kibibyte of text with no delimiter", b"\r\n>>> " * 171),
            (name.ZERO_INSIDE, "0x00 where a byte should be", block[:5] + b"\0" + block[6:]),
            (name.ZERO_INSIDE, "0x00 where a code byte should be", b"\0" + block[1:]),
            (name.BAD_COBS, "a code byte that points past the end", b"\x05\x11\x22"),
            (name.BAD_COBS, "a frame whose last byte is lost", block[:-1]),
            (name.TRUNCATED, "one byte of data", cobs.encode(b"\x01")),
            (name.TRUNCATED, "a header with no CRC", cobs.encode(body[:8])),
            (name.TRUNCATED, "one byte short of header and CRC", cobs.encode(body[:11])),
            (name.BAD_CRC, "one bit changed in the header", cobs.encode(_flip(body, 4))),
            (name.BAD_CRC, "one bit changed in the CRC", cobs.encode(_flip(body, len(body) - 1))),
            (name.BAD_CRC, "the CRC big-endian", cobs.encode(body[:-4] + body[:-5:-1])),
            (name.BAD_CRC, "all zeros", cobs.encode(bytes(12))),
        ]
        vectors = [
            {"name": why, "block": data.hex(), "error": error.value} for error, why, data in bad
        ]
        for error, why, frame in self._bad_frames(status):
            data = encode_frame(frame, definition)[:-1]
            vectors.append({"name": why, "block": data.hex(), "error": error.value})
        return vectors

    def _bad_frames(self, status: Frame) -> list[tuple[FrameErrorName, str, Frame]]:
        """Frames that come undamaged but cannot be used: version, message or payload is wrong."""
        definition = self._definition
        unknown = next(i for i in range(0x7F, 0, -1) if i not in definition.by_id)

        def of(message: str, payload: bytes) -> tuple[FrameErrorName, Frame]:
            identity = definition.messages[message].id
            return FrameErrorName.BAD_PAYLOAD, Frame(definition.protocol, identity, 1, 2, payload)

        row = self._codec.encode_records("row", [(0, 0, 1, 0, 1000, 1000)])
        text_max = definition.limits.text_max
        part = definition.limits.rows_per_part
        version = FrameErrorName.WRONG_VERSION
        cases = [
            (version, "the next protocol version", Frame(definition.protocol + 1, 2, 1, 2, b"")),
            (version, "protocol version 0", Frame(0, 2, 1, 2, b"")),
            (
                version,
                "another version and an unknown message: the version counts",
                Frame(255, unknown, 1, 2, b""),
            ),
            (
                FrameErrorName.UNKNOWN_MESSAGE,
                "a message that is not defined",
                Frame(definition.protocol, unknown, status.session, status.number, b""),
            ),
        ]
        payloads = [
            ("status with a byte too many", "status", b"\0"),
            ("drip with a byte missing", "drip", b"\x01\0\0\0"),
            ("drip with an output that is not defined", "drip", b"\xff\x10\0\0\0"),
            ("refused with the reason 0, which is not defined", "refused", bytes(8)),
            ("table_rows with no count", "table_rows", b"\0\0"),
            ("table_rows with fewer rows than its count", "table_rows", b"\0\0\x02" + row),
            ("table_rows with more rows than its count", "table_rows", b"\0\0\x01" + row + row),
            (
                "table_rows with a count over its limit",
                "table_rows",
                b"\0\0" + bytes((part + 1,)) + row * part,
            ),
            (
                "a row with an anchor that is not defined",
                "table_rows",
                b"\0\0\x01" + b"\x09" + row[1:],
            ),
            ("a text shorter than its length", "trouble", b"\x03ab"),
            ("a text longer than its length", "trouble", b"\x01ab"),
            ("a text that is not UTF-8", "trouble", b"\x02\xc3\x28"),
            ("a text over the limit", "trouble", bytes((text_max + 1,)) + b"a" * (text_max + 1)),
        ]
        for why, message, payload in payloads:
            error, frame = of(message, payload)
            cases.append((error, why, frame))
        return cases

    # -- streams and tables ------------------------------------------------------------------------

    def make_streams(self, good: list[dict[str, Any]]) -> list[dict[str, Any]]:
        """Bytes as they come, with what a receiver must find in them, in order."""
        frames = {vector["name"]: bytes.fromhex(vector["frame"]) for vector in good}
        status, done = frames["status typical"], frames["done typical"]
        largest = frames["edges largest"]
        most = self._definition.frame.frame_max - 1
        found_status, found_done = {"good": "status typical"}, {"good": "done typical"}
        cases: list[tuple[str, bytes, list[dict[str, str]]]] = [
            ("two frames", status + done, [found_status, found_done]),
            ("empty frames are ignored", DELIMITER * 3 + status + DELIMITER, [found_status]),
            (
                "half a frame, ended by a delimiter before the next",
                status[:5] + DELIMITER + status,
                [{"error": "bad_cobs"}, found_status],
            ),
            (
                "two frames merged by a lost delimiter",
                status[:-1] + done + done,
                [{"error": "bad_crc"}, found_done],
            ),
            (
                "text of a terminal, then a frame",
                b"MPY: soft reboot\r\n" * 20 + DELIMITER + done,
                [{"error": "over_long"}, found_done],
            ),
            (
                "the longest frame, then a run one byte longer",
                largest + b"\x01" * (most + 1) + DELIMITER + status,
                [{"good": "edges largest"}, {"error": "over_long"}, found_status],
            ),
            ("an unfinished frame", done + status[:-1], [found_done]),
        ]
        return [{"name": name, "bytes": data.hex(), "found": found} for name, data, found in cases]

    def make_tables(self) -> list[dict[str, Any]]:
        """Tables with their digests."""
        row = self._definition.records["row"]
        quiet = {
            "window_ticks": 0, "tail_ticks": 1_250_000, "blanking_ticks": 0, "dwell_ticks": 0,
            "beam1_edge": self._definition.enum("beam_edge")["dark"],
            "beam2_edge": self._definition.enum("beam_edge")["dark"], "await1": 0, "await2": 0,
        }  # fmt: skip
        collision = {**quiet, "window_ticks": 100_000_000, "blanking_ticks": 2_500_000, "await1": 2}
        rows = [
            (0, 0, 7, 0, 125, 90_000_000),
            (0, 0, 1, 0, 2_500_000, 4_000_000),
            (0, 0, 1, 0, 15_000_000, 3_500_000),
            (1, 2, 4, 0, 9_437_500, 500_000),
        ]
        many = [(0, 0, 1, 0, 1000 + 1_000_000 * i, 500_000) for i in range(20)]
        vectors = []
        for name, settings, table in (
            ("one drop", quiet, rows[1:2]),
            ("two drops, the flash on the second", collision, rows),
            ("more rows than one part holds", quiet, many),
        ):
            digest = compute_table_digest(self._codec, settings, table)
            message = Message("table_begin", {"digest": digest, "rows": len(table), **settings})
            vectors.append(
                {
                    "name": name,
                    "table_begin": fields_to_json(self._definition, message),
                    "rows": [
                        {
                            part.name: field_to_json(self._definition, part, value)
                            for part, value in zip(row.fields, entry, strict=True)
                        }
                        for entry in table
                    ],
                    "digest": digest.hex(),
                }
            )
        return vectors


def _flip(body: bytes, at: int) -> bytes:
    return body[:at] + bytes((body[at] ^ 0x01,)) + body[at + 1 :]
