"""One DMA channel: words from memory to a machine, or from a machine to memory."""

import rp2
from machine import mem32

from ports.rp2 import memory
from ports.rp2 import registers as reg


class Channel:
    def __init__(self, **control):
        self._dma = rp2.DMA()
        self._control = self._dma.pack_ctrl(**control)
        base = reg.DMA_BASE + reg.DMA_CHANNEL_SIZE * self._dma.channel
        self.remaining = memory.point_to(base + reg.DMA_TRANS_COUNT)
        # Computed once: a stop must not allocate.
        self._clear = base + reg.DMA_CONTROL + reg.CLEAR_BITS

    def start(self, read, write, count):
        self._dma.config(read=read, write=write, count=count, ctrl=self._control, trigger=True)

    def stop(self):
        """Erratum RP2350-E5: an abort may start a channel that is still enabled. So disable it first, and only
        that: a control word of 0 would also chain to channel 0."""
        mem32[self._clear] = reg.DMA_ENABLE
        self._dma.active(0)
