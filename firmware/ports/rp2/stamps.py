"""The ring of stamps: two words for each change of the stamped pins, written by DMA, read here.

The stamper's rounds and the number of its events give the exact cycle at which it looked; an edge lies in the round
before that, so half a round is taken off. README.md has the count of cycles.
"""

import rp2
from machine import mem32

from ports.rp2 import memory, programs
from ports.rp2 import registers as reg

RING_WORDS = 1024  # 512 events
_RING_BITS = 12  # of its size in bytes
_KEPT = RING_WORDS - 64  # words that may wait before the oldest count as overwritten
_ROUND = programs.STAMPER_ROUND
_EVENT = programs.STAMPER_EVENT
_MASK = 0x3FFFFFFF
_MARK_STAMPED = 2


class Stamps:
    def __init__(self, block, machine, sync):
        self.lost = 0  # events known to be lost
        self.torn = False  # the FIFO has overflowed: pairs of words may be torn
        self.signal = 0
        self.mark = 0
        self.ticks = 0
        self._signals = bytearray(16)
        self._known = 0
        self._invert = 0
        self._address, self._halves, self._first = memory.allocate(RING_WORDS, 4 * RING_WORDS)
        # A look sees the pins of `sync` cycles before, its own cycle counts from one tick before the zero is out,
        # and the edge lies up to a round before the look.
        self._offset = programs.STAMPER_FIRST - sync - 1 - _ROUND // 2
        self._dma = rp2.DMA()
        self._remaining = (
            reg.DMA_BASE + reg.DMA_CHANNEL_SIZE * self._dma.channel + reg.DMA_TRANS_COUNT
        )
        self._control = self._dma.pack_ctrl(
            high_pri=True,
            size=2,
            inc_read=False,
            inc_write=True,
            ring_sel=True,
            ring_size=_RING_BITS,
            treq_sel=block.rx_request(machine),
        )
        self._source = block.rx_address(machine)
        self._running = False
        self._written = 0
        self._read = 0
        self._levels = 0
        self._changed = 0

    def name_pin(self, bit, signal):
        self._signals[bit] = signal
        self._known |= 1 << bit

    def begin(self, invert):
        """`invert`: bits whose pin reads 1 when the line is off or clear."""
        self._invert = invert
        self.lost = 0
        self.torn = False
        self._read = 2  # the stamper's first event is its start, with nothing in it
        self._written = 0
        self._changed = 0
        self._levels = -1
        self._dma.config(
            read=self._source,
            write=self._address,
            count=reg.DMA_COUNT_MAX,
            ctrl=self._control,
            trigger=True,
        )
        self._running = True

    def end(self):
        """No more come; those in the ring can still be read."""
        if self._running:
            self._written = reg.DMA_COUNT_MAX - mem32[self._remaining]
            self._dma.active(0)
            self._running = False

    def waiting(self):
        """Words that have not been read."""
        if self._running:
            self._written = reg.DMA_COUNT_MAX - mem32[self._remaining]
        return self._written - self._read

    def next(self):
        """True and signal, mark, ticks of the next edge; False when none waits. Allocates nothing in a shot."""
        while not self._changed:
            waiting = self.waiting()
            if waiting < 2:
                return False
            if waiting > _KEPT:
                skip = (waiting - _KEPT + 1) & ~1
                self.lost += skip // 2
                self._read += skip
            halves = self._halves
            at = self._first + 2 * (self._read & (RING_WORDS - 1))
            levels = (halves[at] ^ self._invert) & self._known
            at = self._first + 2 * ((self._read + 1) & (RING_WORDS - 1))
            if (
                self.torn and not halves[at + 1]
            ):  # levels where a count must be: one half of a torn pair
                self._read += 1
                continue
            rounds = ((0xFFFF - halves[at + 1]) & 0x3FFF) << 16 | (0xFFFF - halves[at])
            events = (self._read >> 1) - 1
            self._read += 2
            ticks = _ROUND * rounds + _EVENT * events + self._offset
            self.ticks = ticks & _MASK if ticks > 0 else 0
            if self._levels >= 0:
                self._changed = levels ^ self._levels
            self._levels = levels
        changed = self._changed
        bit = 0
        while not changed >> bit & 1:
            bit += 1
        self._changed = changed & (changed - 1)
        self.signal = self._signals[bit]
        self.mark = (self._levels >> bit & 1) | _MARK_STAMPED
        return True
