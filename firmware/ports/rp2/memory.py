"""DMA's channels and the buffers that they read and write: allocated once, aligned, seen by Python as 16-bit halves.

Halves, because a 32-bit word may not fit a small integer and would be allocated each time it is read.
"""

from array import array

import rp2
import uctypes
from machine import mem32
from micropython import const

from ports.rp2 import registers as reg

_WRITE_AND_START = const(0x2C)  # a channel's write address; the count is the last one written
_spare = []  # [halves, first, end]: room that alignment has left over


def allocate(words, alignment=4):
    """(address, halves, first): word i is halves[first + 2 * i] (low) and halves[first + 2 * i + 1] (high)."""
    for part in _spare:
        halves, first, end = part
        if alignment == 4 and end - first >= 2 * words:
            part[1] = first + 2 * words
            return uctypes.addressof(halves) + 2 * first, halves, first
    halves = array("H", bytes(4 * words + alignment))
    address = uctypes.addressof(halves)
    skip = -address % alignment
    if alignment > 4:
        _spare.append([halves, 0, skip // 2])
        _spare.append([halves, skip // 2 + 2 * words, len(halves)])
    return address + skip, halves, skip // 2


def point_to(address):
    """Return what compiled code takes as a pointer to words, and `read` as the address of a register."""
    return address


def read(pointer):
    return mem32[pointer]


class Channel:
    """One DMA channel: words from memory to a machine, or from a machine to memory."""

    def __init__(self, **control):
        self._dma = rp2.DMA()
        self._control = self._dma.pack_ctrl(**control)
        base = reg.DMA_BASE + reg.DMA_CHANNEL_SIZE * self._dma.channel
        self.remaining = point_to(base + reg.DMA_TRANS_COUNT)
        self.write_and_start = base + _WRITE_AND_START
        # Computed once: a stop must not allocate.
        self._clear = base + reg.DMA_CONTROL + reg.CLEAR_BITS

    def start(self, read, write, count):
        self._dma.config(read=read, write=write, count=count, ctrl=self._control, trigger=True)

    def prepare(self, read, write, count):
        """Make ready to be started by a write to `write_and_start`."""
        self._dma.config(read=read, write=write, count=count, ctrl=self._control, trigger=False)

    def stop(self):
        """Erratum RP2350-E5: an abort may start a channel that is still enabled. So disable it first, and only
        that: a control word of 0 would also chain to channel 0."""
        mem32[self._clear] = reg.DMA_ENABLE
        self._dma.active(0)
