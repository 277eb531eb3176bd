"""Buffers that DMA reads and writes: allocated once, aligned, seen by Python as 16-bit halves.

Halves, because a 32-bit word may not fit a small integer and would be allocated each time it is read.
"""

from array import array

import uctypes
from machine import mem32


def allocate(words, alignment=4):
    """(address, halves, first): word i is halves[first + 2 * i] (low) and halves[first + 2 * i + 1] (high)."""
    halves = array("H", bytes(4 * words + alignment))
    address = uctypes.addressof(halves)
    skip = -address % alignment
    return address + skip, halves, skip // 2


def point_to(address):
    """What compiled code takes as a pointer to words, and `read` as the place of a register."""
    return address


def read(pointer):
    return mem32[pointer]
