"""The wire protocol, sans-I/O: bytes in, values out. Nothing here opens a port.

codec = get_codec()
framer = Framer(codec.definition)
line = encode_frame(codec.make_frame(Message("status", {}), session, number), codec.definition)
for found in framer.feed(data):
    message = codec.decode_frame(found) if isinstance(found, Frame) else None
"""

from __future__ import annotations

from beamfall.wire.definition import get_definition, load_definition
from beamfall.wire.framing import (
    Frame,
    FrameError,
    FrameErrorName,
    Framer,
    decode_frame,
    encode_frame,
)
from beamfall.wire.messages import Message, get_codec
from beamfall.wire.schema import Definition, WireEnum
from beamfall.wire.table import TableMessages, compute_table_digest, make_table_messages

__all__ = [
    "Definition",
    "Frame",
    "FrameError",
    "FrameErrorName",
    "Framer",
    "Message",
    "TableMessages",
    "WireEnum",
    "compute_table_digest",
    "decode_frame",
    "encode_frame",
    "get_codec",
    "get_definition",
    "load_definition",
    "make_table_messages",
]
