"""UF2, the format of files that are dropped on a board in its boot loader: blocks of flash with their addresses.

The format is described in Microsoft's UF2 specification (github.com/microsoft/uf2, README).
"""

from __future__ import annotations

import struct
from collections.abc import Mapping
from dataclasses import dataclass

from beamfall.board_tools.errors import ImageError, ImageProblem

_HEAD = struct.Struct("<8I")
_MAGIC = (0x0A324655, 0x9E5D5157)
_MAGIC_END = 0x0AB16F30
_HAS_FAMILY = 0x2000
_BLOCK = 512
PAGE = 256  # bytes of flash in each block


@dataclass(frozen=True)
class Block:
    """One block; `family` names the chip."""

    address: int
    family: int
    data: bytes
    raw: bytes


def read_blocks(content: bytes, name: str) -> list[Block]:
    """Return the blocks of a file; raises ImageError if it is not UF2 with a family."""
    if not content or len(content) % _BLOCK:
        raise ImageError(
            ImageProblem.NOT_UF2,
            f"{name} is not a UF2 file: its size is not a multiple of {_BLOCK} bytes",
        )
    blocks = []
    for at in range(0, len(content), _BLOCK):
        raw = content[at : at + _BLOCK]
        first, second, flags, address, size, _, _, family = _HEAD.unpack_from(raw)
        (end,) = struct.unpack_from("<I", raw, _BLOCK - 4)
        if (first, second) != _MAGIC or end != _MAGIC_END:
            raise ImageError(
                ImageProblem.NOT_UF2, f"{name} is not a UF2 file: block {at // _BLOCK} is damaged"
            )
        if not flags & _HAS_FAMILY or size != PAGE:
            raise ImageError(
                ImageProblem.OTHER_CHIP,
                f"{name} is not for a Raspberry Pi chip: block {at // _BLOCK}",
            )
        blocks.append(Block(address, family, raw[_HEAD.size : _HEAD.size + size], raw))
    return blocks


def write_blocks(pages: Mapping[int, bytes], family: int) -> bytes:
    """Return blocks of one family for pages of flash by their address, in order of address."""
    parts = []
    for number, address in enumerate(sorted(pages)):
        head = _HEAD.pack(*_MAGIC, _HAS_FAMILY, address, PAGE, number, len(pages), family)
        parts.append((head + pages[address]).ljust(_BLOCK - 4, b"\0"))
        parts.append(struct.pack("<I", _MAGIC_END))
    return b"".join(parts)
