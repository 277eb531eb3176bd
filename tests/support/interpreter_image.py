"""The parts of a MicroPython image that `beamfall board image` reads."""

from __future__ import annotations

import struct

from beamfall.board_tools.uf2 import PAGE, write_blocks

FLASH = 0x10000000
RP2040, RP2350 = 0xE48BFF56, 0xE48BFF59
MACHINE = {RP2040: b"Raspberry Pi Pico with RP2040", RP2350: b"Raspberry Pi Pico2 with RP2350"}
START, SIZE = FLASH + 0xA0000, 160 * 4096


def make_interpreter(
    family: int = RP2040, machine: bytes | None = None, version: bytes = b"1.28.0"
) -> bytes:
    """The parts of an interpreter's image that say what it is, laid out as the pico-sdk lays them out."""
    flash = bytearray(0x3000)
    # binary_info_core_t and binary_info_block_device_t of pico-sdk 2.2; a pin function comes before the block device.
    struct.pack_into("<5I", flash, 0x110, 0x7188EBF2, FLASH + 0x2000, FLASH + 0x2008, 0, 0xE71AA390)
    struct.pack_into("<2I", flash, 0x2000, FLASH + 0x2100, FLASH + 0x2200)
    struct.pack_into("<H2sI", flash, 0x2100, 8, b"RP", 0)
    struct.pack_into("<H2s5I", flash, 0x2200, 7, b"MP", FLASH + 0x2300, START, SIZE, 0, 0)
    flash[0x2300:0x230C] = b"MicroPython\0"
    flash[0x2400:0x2440] = (b"MicroPython v" + version + b" on 2026-04-06; ").ljust(64, b"\0")
    name = (
        MACHINE.get(family, b"Raspberry Pi Pico2 with RP2350-RISCV") if machine is None else machine
    )
    flash[0x2500 : 0x2500 + len(name)] = name
    pages = {FLASH + at: bytes(flash[at : at + PAGE]) for at in range(0, len(flash), PAGE)}
    return write_blocks(pages, family)
