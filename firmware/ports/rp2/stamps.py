"""The ring of stamps: two words for each change of the stamped pins, written by DMA, read here.

The stamper's rounds and the number of its events give the exact cycle at which it looked. An edge is in the round
before that, so half a round is subtracted. README.md has the count of cycles.
"""

from array import array

import micropython
from micropython import const

from ports.rp2 import memory, programs
from ports.rp2 import registers as reg

RING_WORDS = 1024  # 512 events
_RING_BITS = 12  # of its size in bytes
_RING_MASK = const(1023)
_KEPT = const(960)  # words that may wait before the oldest count as overwritten
_COUNT_MAX = const(0x0FFFFFFF)
_ROUND = const(7)  # as in programs.py; the tests compare
_EVENT = const(4)
_TICKS_MASK = const(0x3FFFFFFF)
_MARK_STAMPED = const(2)

# Places in the state that `take` works on.
_READ = const(0)  # words
_WRITTEN = const(1)  # words
_RUNNING = const(2)
_LEVELS = const(3)  # -1: none known yet
_CHANGED = const(4)  # bits of the newest event that have not been taken
TICKS = const(5)
_LOST = const(6)  # events known to be lost
_TORN = const(7)  # the FIFO has overflowed: pairs of words may be torn
_KNOWN = const(8)
_INVERT = const(9)
_OFFSET = const(10)
MARK = const(11)  # as on the wire: bit 0 the level, bit 1 stamped
_STATE_SIZE = 12


@micropython.viper
def take(
    state: ptr32,  # noqa: F821 - viper's own word
    ring: ptr32,  # noqa: F821
    counter: ptr32,  # noqa: F821
    names: ptr8,  # noqa: F821
    records: ptr8,  # noqa: F821
    put: int,
    room: int,
) -> int:
    """Write the next edges, at most `room`, as the wire's records from `records[put]` on; return how many.

    The newest one's time and mark are in the state. Allocates nothing. Machine code: README.md has its figures.
    """
    left = room
    while left > 0:
        changed = int(state[_CHANGED])
        while changed == 0:
            if state[_RUNNING] != 0:
                state[_WRITTEN] = _COUNT_MAX - counter[0]
            read = int(state[_READ])
            waiting = int(state[_WRITTEN]) - read
            if waiting < 2:
                return room - left
            if waiting > _KEPT:
                skip = (waiting - _KEPT + 1) & -2
                state[_LOST] = state[_LOST] + (skip >> 1)
                read += skip
            count = int(ring[(read + 1) & _RING_MASK])
            if state[_TORN] != 0 and ((count >> 16) & 0xFFFF) == 0:
                state[_READ] = read + 1  # levels where a count must be: one half of a torn pair
                continue
            levels = (int(ring[read & _RING_MASK]) ^ int(state[_INVERT])) & int(state[_KNOWN])
            rounds = (count ^ -1) & _TICKS_MASK
            ticks = _ROUND * rounds + _EVENT * ((read >> 1) - 1) + int(state[_OFFSET])
            if rounds < 2 and ticks < 0:
                ticks = 0
            state[TICKS] = ticks & _TICKS_MASK
            state[_READ] = read + 2
            before = int(state[_LEVELS])
            if before >= 0:
                changed = levels ^ before
            state[_LEVELS] = levels
        bit = 0
        while (changed >> bit) & 1 == 0:
            bit += 1
        state[_CHANGED] = changed & (changed - 1)
        mark = ((int(state[_LEVELS]) >> bit) & 1) | _MARK_STAMPED
        stamp = int(state[TICKS])
        state[MARK] = mark
        records[put] = names[bit]
        records[put + 1] = mark
        records[put + 2] = stamp & 255
        records[put + 3] = (stamp >> 8) & 255
        records[put + 4] = (stamp >> 16) & 255
        records[put + 5] = stamp >> 24
        put += 6
        left -= 1
    return room


class Stamps:
    """The ring and what is known of it; `take` reads the edges out.

    It must not get a property: a class that has one takes 20 us for each attribute that it stores.
    """

    def __init__(self, block, machine, sync):
        self.signals = bytearray(16)  # by bit
        self.one = bytearray(6)  # the record of an edge taken alone
        self.state = array("i", bytes(4 * _STATE_SIZE))
        # Nothing here reads the halves, but DMA writes there: without a reference the memory would be given away.
        self._address, self._halves, _first = memory.allocate(RING_WORDS, 4 * RING_WORDS)
        self.ring = memory.point_to(self._address)
        self.use_sync(sync)
        self.channel = memory.Channel(
            high_pri=True,
            size=2,
            inc_read=False,
            inc_write=True,
            ring_sel=True,
            ring_size=_RING_BITS,
            treq_sel=block.rx_request(machine),
        )
        self._source = block.rx_address(machine)

    def use_sync(self, sync):
        """A look sees the pins of `sync` cycles before, its own cycle counts from one tick before the zero is out,
        and the edge lies up to a round before the look."""
        self.state[_OFFSET] = programs.STAMPER_FIRST - sync - 1 - programs.STAMPER_ROUND // 2

    def lost(self):
        """Events known to be lost since `begin`."""
        return self.state[_LOST]

    def name_pin(self, bit, signal):
        self.signals[bit] = signal
        self.state[_KNOWN] |= 1 << bit

    def begin(self, invert):
        """Start stamping. `invert`: bits whose pin reads 1 when the line is off or clear."""
        state = self.state
        state[_INVERT] = invert
        state[_LOST] = 0
        state[_TORN] = 0
        state[_READ] = 2  # the stamper's first event is its start, with nothing in it
        state[_WRITTEN] = 0
        state[_CHANGED] = 0
        state[_LEVELS] = -1
        self.channel.start(self._source, self._address, reg.DMA_COUNT_MAX)
        state[_RUNNING] = 1

    def end(self):
        """Stop stamping; stamps in the ring can still be read."""
        if self.state[_RUNNING]:
            self.waiting()
            self.channel.stop()
            self.state[_RUNNING] = 0

    def overflowed(self):
        """Note that the FIFO before the ring has overflowed: at least one event is lost."""
        self.state[_LOST] += 1
        self.state[_TORN] = 1

    def waiting(self):
        """Words that have not been read."""
        state = self.state
        if state[_RUNNING]:
            state[_WRITTEN] = reg.DMA_COUNT_MAX - memory.read(self.channel.remaining)
        return state[_WRITTEN] - state[_READ]
