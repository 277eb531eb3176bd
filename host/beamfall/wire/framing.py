"""Frames: header, payload and CRC-32, encoded with COBS and ended by a 0x00.

Sans-I/O: `Framer.feed` takes whatever bytes have come and returns the frames in them; it holds at
most one frame. See protocol/SPEC.md, "Frames".
"""

from __future__ import annotations

import struct
import zlib
from dataclasses import dataclass
from enum import StrEnum

from beamfall.errors import CobsError, MessageError
from beamfall.wire import cobs
from beamfall.wire.schema import CRC_SIZE, HEADER_FORMAT, HEADER_SIZE, Definition

DELIMITER = b"\0"
_HEADER = struct.Struct(HEADER_FORMAT)
_CRC = struct.Struct("<I")


class FrameErrorName(StrEnum):
    """What can be wrong with a frame, in the order of the checks."""

    EMPTY = "empty"
    OVER_LONG = "over_long"
    ZERO_INSIDE = "zero_inside"
    BAD_COBS = "bad_cobs"
    TRUNCATED = "truncated"
    BAD_CRC = "bad_crc"
    WRONG_VERSION = "wrong_version"
    UNKNOWN_MESSAGE = "unknown_message"
    BAD_PAYLOAD = "bad_payload"


@dataclass(frozen=True, slots=True)
class Frame:
    """A frame that came whole: `message` is the message's id, `payload` is not yet decoded."""

    protocol: int
    message: int
    session: int
    number: int
    payload: bytes


@dataclass(frozen=True, slots=True)
class FrameError:
    """A bad frame: the error's name, the reason in words, and the encoded bytes that were kept.

    `frame` is set when the frame came undamaged (its CRC is right) but cannot be used: it has
    another protocol version or its message is unknown.
    """

    name: FrameErrorName
    detail: str
    data: bytes
    frame: Frame | None = None


class Framer:
    """Finds frames in a stream of bytes, however it is split.

    Empty frames (two delimiters in a row) are ignored: a sender may put a 0x00 before a frame to
    end whatever was on the line.
    """

    def __init__(self, definition: Definition) -> None:
        self._definition = definition
        self._most = definition.frame.frame_max - len(DELIMITER)
        self._pending = bytearray()
        self._over_long = 0

    @property
    def pending(self) -> bytes:
        """The bytes kept so far of the frame that has not ended yet."""
        return bytes(self._pending)

    def reset(self) -> None:
        """Forget the unfinished frame, as after the port was opened again."""
        self._pending.clear()
        self._over_long = 0

    def feed(self, data: bytes) -> list[Frame | FrameError]:
        """Take the next bytes of the stream; return the frames that ended in them, good and bad."""
        found: list[Frame | FrameError] = []
        parts = data.split(DELIMITER)
        for part in parts[:-1]:
            self._keep(part)
            if self._over_long:
                size = len(self._pending) + self._over_long
                detail = f"{size} bytes; at most {self._most} can be a frame"
                error = FrameError(FrameErrorName.OVER_LONG, detail, bytes(self._pending))
                found.append(error)
            elif self._pending:
                found.append(decode_frame(bytes(self._pending), self._definition))
            self.reset()
        self._keep(parts[-1])
        return found

    def _keep(self, part: bytes) -> None:
        room = self._most - len(self._pending)
        self._pending += part[:room]
        self._over_long += max(0, len(part) - room)


def decode_frame(encoded: bytes, definition: Definition) -> Frame | FrameError:
    """Decode one frame without its delimiter; the payload stays encoded."""

    def fail(name: FrameErrorName, detail: str, frame: Frame | None = None) -> FrameError:
        return FrameError(name, detail, encoded, frame)

    most = definition.frame.frame_max - len(DELIMITER)
    if not encoded:
        return fail(FrameErrorName.EMPTY, "no bytes")
    if len(encoded) > most:
        return fail(
            FrameErrorName.OVER_LONG, f"{len(encoded)} bytes; at most {most} can be a frame"
        )
    try:
        body = cobs.decode(encoded)
    except CobsError as error:
        name = FrameErrorName.ZERO_INSIDE if error.zero_inside else FrameErrorName.BAD_COBS
        return fail(name, str(error))
    least = HEADER_SIZE + CRC_SIZE
    if len(body) < least:
        return fail(FrameErrorName.TRUNCATED, f"{len(body)} bytes; a frame has {least} or more")
    (crc,) = _CRC.unpack_from(body, len(body) - CRC_SIZE)
    computed = zlib.crc32(body[:-CRC_SIZE])
    if crc != computed:
        return fail(FrameErrorName.BAD_CRC, f"CRC-32 is {computed:08X}, the frame says {crc:08X}")
    protocol, message, session, number = _HEADER.unpack_from(body)
    frame = Frame(protocol, message, session, number, body[HEADER_SIZE:-CRC_SIZE])
    if frame.protocol != definition.protocol:
        return fail(
            FrameErrorName.WRONG_VERSION,
            f"protocol version {frame.protocol}; this side uses {definition.protocol}",
            frame,
        )
    if frame.message not in definition.by_id:
        return fail(FrameErrorName.UNKNOWN_MESSAGE, f"no message {frame.message:#04x}", frame)
    return frame


def encode_frame(frame: Frame, definition: Definition) -> bytes:
    """Return the frame as it goes on the line, with its delimiter.

    Raises MessageError when a header field or the payload's length is out of range.
    """
    most = definition.frame.payload_max
    if len(frame.payload) > most:
        raise MessageError(f"a payload of {len(frame.payload)} bytes; at most {most} fit a frame")
    try:
        header = _HEADER.pack(frame.protocol, frame.message, frame.session, frame.number)
    except struct.error as error:
        raise MessageError(
            f"a header field is out of range: protocol {frame.protocol}, message {frame.message}, "
            f"session {frame.session}, number {frame.number}"
        ) from error
    body = header + frame.payload
    return cobs.encode(body + _CRC.pack(zlib.crc32(body))) + DELIMITER
