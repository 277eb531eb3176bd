"""Raw files that wrap their EXIF in their own way: where to find it.

CR3 is an ISO base media file (ISO/IEC 14496-12); its boxes CMT1 and CMT2 each hold a small TIFF,
IFD0 and the Exif IFD. RAF begins with its name; at byte 84 stand place and length, big-endian, of
a whole JPEG. Both from memory, and seen in files: neither format is published by its maker.
"""

from __future__ import annotations

import io
import struct
from typing import BinaryIO

_HEAD = 1 << 20  # CR3 keeps its metadata at the start
_RAF = b"FUJIFILMCCD-RAW"


def open_parts(stream: BinaryIO) -> list[BinaryIO]:
    """Return the parts of a file that EXIF can be read from, best first; the file itself for most."""
    head = stream.read(100)
    stream.seek(0)
    if head[4:12] == b"ftypcrx ":
        return _open_boxes(stream.read(_HEAD))
    if head.startswith(_RAF) and len(head) >= 92:
        place, length = struct.unpack(">II", head[84:92])
        stream.seek(place)
        return [io.BytesIO(stream.read(min(length, 1 << 26)))]
    return [stream]


def _open_boxes(data: bytes) -> list[BinaryIO]:
    parts: list[BinaryIO] = []
    for name in (b"CMT2", b"CMT1"):
        at = data.find(name)
        if at < 4:
            continue
        (size,) = struct.unpack(">I", data[at - 4 : at])
        content = data[at + 4 : at - 4 + size]
        if content[:2] in (b"II", b"MM"):
            parts.append(io.BytesIO(content))
    return parts
