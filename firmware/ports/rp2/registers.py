"""Addresses of the registers and the meaning of their bits, for both chips of this port.

From the register descriptions of the RP2040 and RP2350 datasheets. Addresses are too large for the small integers of a
32-bit MicroPython: they are computed once, when an object is made, never during a shot.
"""

PIO_BASES = (0x50200000, 0x50300000)
DMA_BASE = 0x50000000
SIO_BASE = 0xD0000000

CTRL = 0x00
FSTAT = 0x04
FDEBUG = 0x08
TXF0 = 0x10
RXF0 = 0x20
INSTR_MEM0 = 0x48
SM0_CLKDIV = 0xC8
SM0_EXECCTRL = 0xCC
SM0_SHIFTCTRL = 0xD0
SM0_ADDR = 0xD4
SM0_INSTR = 0xD8
SM0_PINCTRL = 0xDC
SM_SIZE = 0x18

CTRL_RESTART = 0xFF0  # of machines and clock dividers, all four
FDEBUG_TXSTALL = 24
FDEBUG_RXSTALL = 0
FDEBUG_ALL = 0x0F0F0F0F
FSTAT_TXEMPTY = 24
FSTAT_RXEMPTY = 8

AUTOPULL = 1 << 17
IN_LEFT_OUT_RIGHT = 1 << 19
DIVIDE_BY_1 = 1 << 16

DMA_CHANNEL_SIZE = 0x40
DMA_TRANS_COUNT = 0x08
DMA_CONTROL = 0x10  # a write here starts nothing
DMA_ENABLE = 1
DMA_COUNT_MAX = 0x0FFFFFFF  # a small integer, and all the RP2350 has room for

CLEAR_BITS = 0x3000  # added to an address: a write there clears these bits of the register

FUNCTION_SIO = 5
FUNCTION_PIO = (6, 7)
INVERT = 1
PAD_INPUT = 0x52  # input enabled, Schmitt trigger, 4 mA
PAD_PULL = {None: 0, "down": 4, "up": 8}


class Chip:
    """The addresses and shifts that differ between the two chips."""

    def __init__(self, name):
        if name == "rp2040":
            self.io = 0x40014000
            self.adc = 0x4004C000
            self.adc_request = 36
            self.pads = 0x4001C004
            self.gpio_in = SIO_BASE + 0x04
            self.out_set = SIO_BASE + 0x14
            self.out_clear = SIO_BASE + 0x18
            self.drive_set = SIO_BASE + 0x24
            self.output_override = 8
        elif name == "rp2350":
            self.io = 0x40028000
            self.adc = 0x400A0000
            self.adc_request = 48
            self.pads = 0x40038004
            self.gpio_in = SIO_BASE + 0x04
            self.out_set = SIO_BASE + 0x18
            self.out_clear = SIO_BASE + 0x20
            self.drive_set = SIO_BASE + 0x38
            self.output_override = 12
        else:
            raise ValueError("CHIP %r is unknown to this port: use rp2040 or rp2350" % name)
        self.input_override = 16

    def io_control(self, gpio):
        return self.io + 8 * gpio + 4

    def pad(self, gpio):
        return self.pads + 4 * gpio
