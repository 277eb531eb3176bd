"""Coil current and supply voltage around each opening. The ADC runs on its own clock and DMA stores what it converts;
the program only starts both, some milliseconds before an opening, and allocates nothing.

The ADC's registers are those of the RP2040 datasheet, section 4.9.6 (list of registers); the RP2350 has the same at
another address. The DMA's trigger alias is in section 2.5.7. For the RP2350 all of them, and the DMA request, have been
compared with the headers adc.h, dma.h, dreq.h and addressmap.h of pico-sdk 2.2.0.
"""

import time
from array import array

import machine
from machine import mem32
from micropython import const

from beamfall_board.readings import OPENINGS, READINGS, SPACING_US, Openings
from ports.rp2 import memory
from ports.rp2 import registers as reg

_WORDS = 2 * READINGS  # conversions of one opening: current, voltage, current ...
_FIRST_PIN = const(26)  # of the analogue inputs
_DRAIN = const(8)  # the longer of the two chips' FIFOs
_HALFWORDS = const(1)  # DMA's size of a transfer
_CS = const(0x00)  # control and status
_FCS = const(0x08)  # of the FIFO
_FIFO = const(0x0C)
_DIV = const(0x10)
_MHZ = const(48)  # of the ADC's clock, on both chips
_EN = const(1)
_START_MANY = const(1 << 3)
_AINSEL = const(12)
_RROBIN = const(16)
_FIFO_TO_DMA = const(0x1000C09)  # a request for each word; clears overflow and underflow
_BITS = const(0xFFF)
_PAD = const(0x80)  # neither digital input nor output


# Out of 65535: no supply reads this high, but an open pin with its pull-up does.
_NOT_WIRED = const(60000)
_SETTLE_US = const(200)


def find_analogue(profile, clock_hz, chip):
    """Return what measures on this board; None if its profile has no such pins, or nothing is wired to them."""
    if not hasattr(profile, "COIL_CURRENT"):
        return None
    pin = profile.SUPPLY_VOLTAGE[0]
    converter = machine.ADC(pin)
    mem32[chip.pad(pin)] = _PAD | reg.PAD_PULL["up"]
    time.sleep_us(_SETTLE_US)
    wired = converter.read_u16() < _NOT_WIRED
    mem32[chip.pad(pin)] = _PAD
    return Analogue(profile, clock_hz, chip) if wired else None


class Analogue:
    """What ports/README.md calls `readings`; `due` is when the next opening's are to start, -1: none are."""

    most = OPENINGS

    def __init__(self, profile, clock_hz, chip):
        current_pin, self._ua = profile.COIL_CURRENT
        supply_pin, self._uv = profile.SUPPLY_VOLTAGE
        for pin in (current_pin, supply_pin):
            machine.ADC(pin)  # wakes the converter, and takes the pin from the digital pad
        first, second = current_pin - _FIRST_PIN, supply_pin - _FIRST_PIN
        self._openings = Openings(clock_hz)
        self.spacing = self._openings.spacing
        self.parts = 0
        self.due = -1
        self._next = 0
        self._last_count = READINGS
        self._running = False
        self._begun = array("I", bytes(4 * OPENINGS))
        address, self._halves, self._first = memory.allocate(OPENINGS * READINGS)
        # Addresses and control words may be too large for small integers: made once.
        self._blocks = [address + 4 * READINGS * part for part in range(OPENINGS)]
        self._control = chip.adc + _CS
        self._fifo_control = chip.adc + _FCS
        self._fifo = chip.adc + _FIFO
        self._go = _EN | _START_MANY | first << _AINSEL | (1 << first | 1 << second) << _RROBIN
        mem32[chip.adc + _DIV] = (SPACING_US * _MHZ // 2 - 1) << 8
        self._channel = memory.Channel(size=_HALFWORDS, inc_read=False, treq_sel=chip.adc_request)

    def plan(self, table):
        self._openings.plan(table)

    def begin(self):
        """Call this right before the release. If a valve opens at once, its readings start here."""
        self.parts = self._next = 0
        self._running = self._openings.count > 0
        if self._running:
            self._channel.prepare(self._fifo, self._blocks[0], _WORDS)
        self._look_ahead()
        if self.due == 0:
            self._capture(0)

    def _look_ahead(self):
        openings = self._openings
        more = self._running and self._next < openings.count
        self.due = openings.starts[self._next] if more else -1

    def follow(self, now):
        """Start what is due; leave out what is far too late."""
        if self.due < 0 or now < self.due:
            return
        if now - self.due >= self._openings.length:
            self._next += 1
            self._look_ahead()
        elif not memory.read(self._channel.remaining):
            self._capture(now)

    def _capture(self, now):
        mem32[self._control] = _EN
        for _ in range(_DRAIN):
            _ = mem32[self._fifo]
        mem32[self._fifo_control] = _FIFO_TO_DMA
        mem32[self._channel.write_and_start] = self._blocks[self.parts]
        mem32[self._control] = self._go
        self._begun[self.parts] = now
        self.parts += 1
        self._next += 1
        self._look_ahead()

    def end(self):
        """Stop, at the end of the record; the last opening's readings may be cut short."""
        if not self._running:
            return
        mem32[self._control] = _EN
        self._last_count = (_WORDS - memory.read(self._channel.remaining)) // 2
        self._channel.stop()
        self._running = False
        self.due = -1

    def start(self, part):
        return self._begun[part]

    def count(self, part):
        return self._last_count if part == self.parts - 1 else READINGS

    def _value(self, part, at):
        return self._halves[self._first + 2 * READINGS * part + at] & _BITS

    def current_ma(self, part, at):
        return self._value(part, 2 * at) * self._ua // 1000

    def supply_mv(self, part, at):
        return self._value(part, 2 * at + 1) * self._uv // 1000
