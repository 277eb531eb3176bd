"""A trace of everything that goes over a port, for when a port misbehaves.

`_Traced` passes every piece of the line to a `Trace`, which can write it to a pcapng file
(link type USER0; protocol/beamfall.lua reads it in Wireshark and tshark) and to the logger
`beamfall.wire`, one line per frame. The file holds raw bytes: damaged pieces are kept as they came.
"""

from __future__ import annotations

import contextlib
import logging
import os
import struct
import time
from pathlib import Path
from typing import Any, BinaryIO, cast

from beamfall.errors import MessageError, UserError
from beamfall.link.transport import Transport
from beamfall.places import TRACE_VARIABLE, VERBOSE_VARIABLE
from beamfall.wire.framing import DELIMITER, FrameError, decode_frame
from beamfall.wire.messages import get_codec

LINKTYPE = 147  # USER0, kept free for private use (LINKTYPE_ registry of the pcapng standard)
# More bytes than this without a delimiter are not our protocol; they are written raw
_PIECE_MOST = 4096
_LOGGER = logging.getLogger("beamfall.wire")
_INBOUND, _OUTBOUND = 1, 2
_BYTE_ORDER_MAGIC = 0x1A2B3C4D


class PcapngFile:
    """Writes packets to a pcapng file (draft-ietf-opsawg-pcapng), one section and one interface per port.

    A new section is added to an existing file, so that one file can hold a whole evening.
    Raises UserError if the file cannot be written or is not pcapng.
    """

    def __init__(self, path: Path, interface: str) -> None:
        try:
            if path.exists() and path.stat().st_size:
                with path.open("rb") as before:
                    if before.read(4) != b"\x0a\x0d\x0d\x0a":
                        raise UserError(
                            f"{path} exists and is not a pcapng file: name another file for the trace"
                        )
            self._file: BinaryIO = path.open("ab")
            self._begin(interface)
        except OSError as error:
            raise UserError(
                f"the trace cannot be written to {path}: {error.strerror}. Make room, or choose another file"
            ) from error

    def _begin(self, interface: str) -> None:
        section = struct.pack("<IHHq", _BYTE_ORDER_MAGIC, 1, 0, -1)
        description = struct.pack("<HHI", LINKTYPE, 0, 0)
        options = _option(2, interface.encode()) + _option(9, b"\x09") + _option(0, b"")
        try:
            self._write(0x0A0D0D0A, section + _option(4, b"Beamfall") + _option(0, b""))
            self._write(1, description + options)
        except OSError:
            with contextlib.suppress(OSError):  # its content cannot be written either
                self._file.close()
            raise

    def add(self, time_ns: int, direction: int, data: bytes) -> None:
        """Write one packet: nanoseconds since 1970, 1 for inbound or 2 for outbound, its bytes."""
        head = struct.pack("<IIIII", 0, time_ns >> 32, time_ns & 0xFFFFFFFF, len(data), len(data))
        flags = _option(2, struct.pack("<I", direction)) + _option(0, b"")
        self._write(6, head + _pad(data) + flags)

    def close(self) -> None:
        self._file.close()

    def _write(self, kind: int, body: bytes) -> None:
        length = struct.pack("<I", len(body) + 12)
        self._file.write(struct.pack("<I", kind) + length + body + length)
        self._file.flush()  # a killed program leaves a complete trace


class Trace:
    """Cuts both directions of a line into pieces, each ended by a 0x00, and passes them on; text as it came."""

    def __init__(self, file: PcapngFile | None, *, verbose: bool, is_text: bool = False) -> None:
        self._file = file
        self._verbose = verbose
        self._is_text = is_text
        self._pending = {_INBOUND: bytearray(), _OUTBOUND: bytearray()}
        self._began_ns = time.monotonic_ns()

    def sent(self, data: bytes) -> None:
        """Record bytes that went to the board."""
        self._take(_OUTBOUND, data)

    def received(self, data: bytes) -> None:
        """Record bytes that came from the board."""
        self._take(_INBOUND, data)

    def close(self) -> None:
        """Write any unfinished piece, and close the file."""
        for direction, pending in self._pending.items():
            if pending:
                self._note(direction, bytes(pending))
                pending.clear()
        if self._file is not None:
            self._file.close()

    def _take(self, direction: int, data: bytes) -> None:
        if self._is_text:
            self._note(direction, data)
            return
        pending = self._pending[direction]
        pending += data
        while True:
            end = pending.find(DELIMITER)
            if end < 0 and len(pending) <= _PIECE_MOST:
                return
            size = end + 1 if end >= 0 else _PIECE_MOST
            piece = bytes(pending[:size])
            del pending[:size]
            if piece != DELIMITER:
                self._note(direction, piece)

    def _note(self, direction: int, piece: bytes) -> None:
        if self._file is not None:
            try:
                self._file.add(time.time_ns(), direction, piece)
            except OSError as error:
                self._file = None  # a full disk must not end the shot
                _LOGGER.warning("the trace ends here: its file cannot be written: %s", error)
        if self._verbose:
            elapsed_s = (time.monotonic_ns() - self._began_ns) / 1e9
            arrow = "->" if direction == _OUTBOUND else "<-"
            said = ascii(piece) if self._is_text else describe_piece(piece)
            _LOGGER.debug("%10.6f %s %s", elapsed_s, arrow, said)


def describe_piece(piece: bytes) -> str:
    """Describe one piece of the line: the message with its fields, or why it is not a message."""
    codec = get_codec()
    frame = decode_frame(piece.removesuffix(DELIMITER), codec.definition)
    if isinstance(frame, FrameError):
        return f"{frame.name}: {frame.detail}: {piece.hex()}"
    name = codec.definition.by_id[frame.message].name
    try:
        message = codec.decode(name, frame.payload)
    except MessageError as error:
        return f"{name} that cannot be read: {error}: {piece.hex()}"
    fields = " ".join(f"{name}={_show(value)}" for name, value in message.fields.items())
    return f"{message.name} session={frame.session:04x} number={frame.number} {fields}".rstrip()


def _show(value: Any) -> str:
    if isinstance(value, bytes):
        return value.hex()
    if isinstance(value, str):
        return ascii(value)
    if isinstance(value, tuple):  # records, or the fields of one
        names = getattr(value, "_fields", None)
        parts = [_show(part) for part in value]
        if names is not None:
            parts = [f"{name}={part}" for name, part in zip(names, parts, strict=True)]
        return "(" + ", ".join(parts) + ")"
    label = getattr(value, "label", None)
    return label if isinstance(label, str) else str(value)


class _Traced:
    """A transport or an open pyserial port with a trace of what is read and written; all else is as without one."""

    def __init__(self, inner: Any, trace: Trace) -> None:
        vars(self).update(_inner=inner, _trace=trace)

    def read(self, *most: Any) -> bytes:
        data: bytes = self._inner.read(*most)
        if data:
            self._trace.received(data)
        return data

    def write(self, data: bytes) -> Any:
        self._trace.sent(bytes(data))
        return self._inner.write(data)

    def close(self) -> None:
        self._inner.close()
        self._trace.close()

    def __getattr__(self, name: str) -> Any:
        return getattr(self._inner, name)

    def __setattr__(self, name: str, value: Any) -> None:
        setattr(self._inner, name, value)


def trace_if_asked(transport: Transport) -> Transport:
    """Return the transport, traced if the environment asks for it (`TRACE_VARIABLE`, `VERBOSE_VARIABLE`).

    Raises UserError if the trace file cannot be written; the transport is then closed.
    """
    if not _is_asked():
        return transport
    return cast(Transport, _Traced(transport, _begin_trace(transport, transport.name)))


def trace_line_if_asked(line: Any, name: str) -> Any:
    """The same for an open pyserial port."""
    return _Traced(line, _begin_trace(line, name, is_text=True)) if _is_asked() else line


def _is_asked() -> bool:
    return bool(os.environ.get(TRACE_VARIABLE) or os.environ.get(VERBOSE_VARIABLE))


def _begin_trace(port: Any, name: str, *, is_text: bool = False) -> Trace:
    path = os.environ.get(TRACE_VARIABLE, "")
    verbose = bool(os.environ.get(VERBOSE_VARIABLE, ""))
    try:
        file = PcapngFile(Path(path), name) if path else None
    except UserError:
        port.close()
        raise
    if verbose and not _LOGGER.handlers:
        _LOGGER.addHandler(logging.StreamHandler())
        _LOGGER.setLevel(logging.DEBUG)
    return Trace(file, verbose=verbose, is_text=is_text)


def _option(code: int, value: bytes) -> bytes:
    return struct.pack("<HH", code, len(value)) + _pad(value)


def _pad(data: bytes) -> bytes:
    return data + bytes(-len(data) % 4)
