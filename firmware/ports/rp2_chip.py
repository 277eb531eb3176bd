"""What both ports need to know about an RP2040 or RP2350: which of them it is, why it started, how long valves were
open before, and how much its USB line takes at once."""

from machine import mem16, mem32

NAMES = ("rp2040", "rp2350")

# From the datasheets: SYSINFO, register CHIP_ID, at the same address in both; bits 12 to 27 are the part.
_CHIP_ID = 0x40000000
_PART = {"rp2040": 2, "rp2350": 4}
# From the datasheets: WATCHDOG, register REASON; bit 0: its timer ran out, bit 1: it was told to restart the chip.
_WATCHDOG_REASON = {"rp2040": 0x40058008, "rp2350": 0x400D8008}
# WATCHDOG, register SCRATCH0, of the same datasheets: it outlasts a restart by the watchdog, or one that was asked for,
# but no loss of supply and no reset at the pin RUN. The boot ROM and the interpreter use SCRATCH4 to 7; the RP2350's
# boot ROM also takes 2 and 3 when it is asked to restart.
_SCRATCH = {"rp2040": 0x4005800C, "rp2350": 0x400D800C}
_OURS = 0x2BEA  # in the upper 16 bits: this firmware wrote the lower ones
# USB, buffer control of endpoint 2 towards the host, which carries the console in MicroPython: bit 10 says that
# a packet waits there for the host to take it. The same address in both chips.
_USB_IN2_CONTROL = 0x50100090
_USB_AVAILABLE = 1 << 10
_USB_FIFO = 256  # bytes that MicroPython keeps behind that packet


def check(chip):
    """Raise ValueError if the profile is for the other of these chips: its registers are elsewhere."""
    part = _PART.get(chip)
    if part is not None and mem32[_CHIP_ID] >> 12 & 0xFFFF != part:
        raise ValueError(
            "this chip is not a %s: install the firmware again with this board's profile" % chip
        )


def is_watchdog_restart(chip):
    """Whether the watchdog ran out; None if the chip is neither. The interpreter's reset_cause() would also say so
    after machine.reset(), which uses the watchdog on these chips."""
    reason = _WATCHDOG_REASON.get(chip)
    return None if reason is None else bool(mem32[reason] & 1)


class OpenTime:
    """How long a valve may have been open shortly before this start, if the supply stayed on over the restart."""

    def __init__(self, chip):
        self._register = _SCRATCH[chip]
        kept = mem32[self._register]
        self.before_ms = kept & 0xFFFF if kept >> 16 == _OURS else 0

    def keep(self, ms):
        mem32[self._register] = _OURS << 16 | min(ms, 0xFFFF)


def usb_room():
    """How many bytes the console's line takes without waiting, 0 if that is not known. If no packet waits for the host,
    nothing waits behind it either."""
    return 0 if mem16[_USB_IN2_CONTROL] & _USB_AVAILABLE else _USB_FIFO
