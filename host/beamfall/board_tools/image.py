"""Joins a MicroPython image with the firmware in its file system: one file to drop on a board in its boot loader.

The image says where its file system is (the SDK's binary info, which `picotool info` shows) and what it calls its
machine. The whole file system is written: everything that was on the board before, slots included, is erased.
"""

from __future__ import annotations

import importlib
import re
import struct
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from beamfall.board_tools.bundle import LIST, Bundle, make_bundle
from beamfall.board_tools.errors import ImageError, ImageProblem
from beamfall.board_tools.uf2 import PAGE, Block, read_blocks, write_blocks
from beamfall.board_tools.writing import render_list
from beamfall.errors import MissingExtra, UserError
from beamfall.files import write_bytes
from beamfall.setup.board_profiles import (
    Profile,
    check_profile,
    find_profile,
    list_profiles,
    read_profile,
)

_IMAGE_MOST = 64 << 20  # bytes; 16 MB of flash make 32 MB of UF2
# UF2 families (github.com/microsoft/uf2, utils/uf2families.json): chip, and mpy-cross's number of its architecture
# (MicroPython 1.28, py/persistentcode.h).
_FAMILIES = {
    0xE48BFF56: ("rp2040", 4),  # armv6m
    0xE48BFF59: ("rp2350", 7),  # Arm: armv7emsp
    0xE48BFF5A: ("rp2350", 11),  # RISC-V: rv32imc
}
# Binary info (pico-sdk 2.2, pico_binary_info/include/pico/binary_info/defs.h and structure.h).
_MARKER, _MARKER_END = 0x7188EBF2, 0xE71AA390
_MARKER_WITHIN = 1024  # bytes of the start of the flash
_BLOCK_DEVICE = 7
_MICROPYTHON_TAG = b"MP"
_FILE_SYSTEM = b"MicroPython\0"
_SECTOR = 4096
_FLASH_MOST = 16 << 20  # all that these chips can address
_VERSION = re.compile(rb"MicroPython v1\.(\d+)")
# Minor version of compiled files by MicroPython's (docs/reference/mpyfiles.rst of 1.28).
_MPY_MAJOR = 6
_MPY_MINOR = ((23, 3), (22, 2), (20, 1))


@dataclass(frozen=True)
class Interpreted:
    """A MicroPython image: its chip, what it calls its machine, and where its file system is."""

    family: int
    chip: str
    mpy: int
    minor: int  # of MicroPython 1.x
    start: int  # address of the file system
    size: int
    flash: Mapping[int, bytes]  # pages by address
    kept: tuple[Block, ...]  # blocks of other families, which stay as they are
    profile: str | None  # of the machine; None: not known


@dataclass(frozen=True)
class ImageReport:
    """What was joined."""

    path: Path
    profile: Profile
    image: Interpreted
    bundle: Bundle
    size: int


def make_image(
    source: Path, target: Path, board: str | None = None, *, source_only: bool = False
) -> ImageReport:
    """Write the joined image; return what is in it. `board` is as in `install`.

    Raises ImageError for a file that is not a MicroPython image for these chips, UserError for a profile that does not
    fit it, MissingExtra, FileWriteError.
    """
    try:
        with source.open("rb") as stream:
            content = stream.read(_IMAGE_MOST + 1)
    except OSError as error:
        raise ImageError(
            ImageProblem.UNREADABLE,
            f"{source} cannot be read: {error.strerror}; give the path of MicroPython's .uf2 file",
        ) from error
    if len(content) > _IMAGE_MOST:
        raise ImageError(
            ImageProblem.TOO_LARGE,
            f"{source} is too large for MicroPython; download a .uf2 file for your board",
        )
    image = read_image(content, str(source))
    profile = _choose_profile(image, board)
    bundle = make_bundle(profile, image.mpy, source_only=source_only)
    pages = dict(image.flash)
    system = _make_file_system(bundle, image)
    for at in range(0, len(system), PAGE):
        pages[image.start + at] = system[at : at + PAGE]
    joined = b"".join(block.raw for block in image.kept) + write_blocks(pages, image.family)
    write_bytes(target, joined)
    return ImageReport(target, profile, image, bundle, len(joined))


def read_image(content: bytes, name: str) -> Interpreted:
    """Find chip, machine and file system in the UF2 file of a MicroPython interpreter."""
    blocks = read_blocks(content, name)
    families = {block.family for block in blocks} & _FAMILIES.keys()
    if len(families) != 1:
        raise ImageError(
            ImageProblem.OTHER_CHIP,
            f"{name} is not for an RP2040 or RP2350; download MicroPython for your board (micropython.org)",
        )
    (family,) = families
    flash = {block.address: block.data for block in blocks if block.family == family}
    chip, architecture = _FAMILIES[family]
    first, last = min(flash), max(flash)
    strange = ImageError(
        ImageProblem.NOT_MICROPYTHON,
        f"{name} is not a MicroPython interpreter; download it for your board (micropython.org)",
    )
    if last - first > _FLASH_MOST:
        raise strange
    whole = b"".join(flash.get(at, bytes(PAGE)) for at in range(first, last + PAGE, PAGE))
    version = _VERSION.search(whole)
    try:
        where = _find_file_system(whole, first)
    except struct.error:  # it points out of itself
        where = None
    if version is None or where is None:
        raise strange
    minor = int(version[1])
    sub = next((mpy for since, mpy in _MPY_MINOR if minor >= since), None)
    if sub is None:
        raise ImageError(
            ImageProblem.TOO_OLD, f"{name} is MicroPython 1.{minor}; Beamfall needs 1.20 or later"
        )
    start, size = where
    if (
        start % _SECTOR
        or size % _SECTOR
        or not 2 * _SECTOR <= size <= _FLASH_MOST
        or start > first + _FLASH_MOST
    ):
        raise strange
    if last >= start:
        raise ImageError(
            ImageProblem.NOT_EMPTY,
            f"{name} already holds something in its file system; use the file from micropython.org",
        )
    return Interpreted(
        family=family,
        chip=chip,
        mpy=_MPY_MAJOR | sub << 8 | architecture << 10,
        minor=minor,
        start=start,
        size=size,
        flash=flash,
        kept=tuple(block for block in blocks if block.family != family),
        profile=_find_machine(whole),
    )


def _find_file_system(whole: bytes, first: int) -> tuple[int, int] | None:
    """Address and size of the block device that MicroPython keeps its files on, from the binary info."""

    def word(address: int) -> int:
        return int(struct.unpack_from("<I", whole, address - first)[0])

    for at in range(0, _MARKER_WITHIN, 4):
        if word(first + at) != _MARKER or word(first + at + 16) != _MARKER_END:
            continue
        begin, end = word(first + at + 4), word(first + at + 8)
        for entry in range(begin, min(end, first + len(whole)), 4):
            found = word(entry) - first
            if found < 0:
                continue
            kind, tag = struct.unpack_from("<H2s", whole, found)
            if kind != _BLOCK_DEVICE or tag != _MICROPYTHON_TAG:
                continue
            name, start, size = struct.unpack_from("<3I", whole, found + 4)
            if whole.startswith(_FILE_SYSTEM, name - first):
                return start, size
    return None


def _find_machine(whole: bytes) -> str | None:
    """The profile whose MACHINE is in the image; None if there is none. The rp2 port has the better timing."""
    for path in list_profiles():
        constants = read_profile(path).constants
        machine = constants.get("MACHINE")
        if constants["PORT"] == "rp2" and machine and str(machine).encode() in whole:
            return path.stem
    return None


def _choose_profile(image: Interpreted, board: str | None) -> Profile:
    name = board or image.profile
    if name is None:
        raise UserError("this MicroPython is for a board with no profile; name one with --board")
    profile = find_profile(name)
    check_profile(profile)
    if profile.constants.get("CHIP") != image.chip:
        raise UserError(
            f"the profile {profile.module} is for the chip {profile.constants.get('CHIP')}, but this MicroPython is "
            f"for the {image.chip}; download the one for your board, or name another profile with --board"
        )
    return profile


def _make_file_system(bundle: Bundle, image: Interpreted) -> bytes:
    littlefs = _load_littlefs()
    system = littlefs.LittleFS(
        block_size=_SECTOR,
        block_count=image.size // _SECTOR,
        prog_size=PAGE,
        disk_version=0x00020000,  # every MicroPython since 1.20 mounts it
    )
    try:
        for folder in bundle.folders:
            system.mkdir(f"/{folder}")
        for path, content in {**bundle.files, LIST: render_list(bundle)}.items():
            with system.open(f"/{path}", "wb") as file:
                file.write(content)
    except littlefs.LittleFSError as error:
        raise ImageError(
            ImageProblem.NO_ROOM,
            f"the firmware does not fit the file system of this MicroPython: {error}",
        ) from error
    return bytes(system.context.buffer)


def _load_littlefs() -> Any:
    try:
        return importlib.import_module("littlefs")
    except ImportError as error:
        raise MissingExtra(
            "making an image needs the library littlefs-python, which is missing; "
            "install it with: pip install 'beamfall[board]'"
        ) from error
