"""Consistent Overhead Byte Stuffing: turns any bytes into bytes without 0x00, and back.

After Cheshire & Baker, "Consistent Overhead Byte Stuffing", IEEE/ACM Transactions on Networking
7(2), 1999. These functions neither take nor return the delimiter 0x00.
"""

from __future__ import annotations

from beamfall.errors import CobsError

_BLOCK = 254  # most non-zero bytes behind one code byte
_CODES = [bytes([size + 1]) for size in range(_BLOCK)]


def encode(data: bytes) -> bytes:
    """Return `data` encoded: at least 1 byte, at most len(data) // 254 + 1 more than `data`."""
    chunks = data.split(b"\0")
    if len(data) < _BLOCK:  # as every frame here: no block is full
        return b"".join([_CODES[len(chunk)] + chunk for chunk in chunks])
    out = bytearray()
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
    out = bytearray(encoded)
    at, size = 0, len(encoded)
    full = []  # code bytes that stand for no zero
    while at < size:
        code = encoded[at]
        if code > _BLOCK:
            full.append(at + code)
        out[at] = 0
        at += code
    if at > size:
        at -= code
        raise CobsError(f"the code byte {code} at {at} points past the end at {size}")
    for place in reversed(full):
        del out[place : place + 1]
    return bytes(out[1:])
