"""Consistent Overhead Byte Stuffing: turns any bytes into bytes without 0x00, and back.

After Cheshire & Baker, "Consistent Overhead Byte Stuffing", IEEE/ACM Transactions on Networking
7(2), 1999. These functions neither take nor return the delimiter 0x00.
"""

from __future__ import annotations

from beamfall.errors import CobsError

_BLOCK = 254  # most non-zero bytes behind one code byte


def encode(data: bytes) -> bytes:
    """Return `data` encoded: at least 1 byte, at most len(data) // 254 + 1 more than `data`."""
    out = bytearray()
    chunks = data.split(b"\0")
    last = len(chunks) - 1
    for index, chunk in enumerate(chunks):
        start, size = 0, len(chunk)
        while size - start >= _BLOCK:
            out.append(_BLOCK + 1)
            out += chunk[start : start + _BLOCK]
            start += _BLOCK
        # A full block at the very end needs no code byte after it: no zero follows.
        if start == size and size and index == last:
            break
        out.append(size - start + 1)
        out += chunk[start:]
    return bytes(out)


def decode(encoded: bytes) -> bytes:
    """Return the decoded bytes.

    Raises CobsError when a 0x00 is inside (`zero_inside` is then true) or a code byte points past
    the end.
    """
    if 0 in encoded:
        raise CobsError(f"a 0x00 at {encoded.index(0)} inside a COBS block", zero_inside=True)
    out = bytearray()
    at, size = 0, len(encoded)
    while at < size:
        code = encoded[at]
        end = at + code
        if end > size:
            raise CobsError(f"the code byte {code} at {at} points past the end at {size}")
        out += encoded[at + 1 : end]
        if code <= _BLOCK and end < size:
            out.append(0)
        at = end
    return bytes(out)
