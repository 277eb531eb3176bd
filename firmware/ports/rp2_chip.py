"""What either port needs to know of an RP2040 or RP2350: why it has started, and what its USB line takes at once."""

from machine import mem16, mem32

NAMES = ("rp2040", "rp2350")

# From the datasheets: WATCHDOG, register REASON; bit 0: its timer ran out, bit 1: it was told to restart the chip.
_WATCHDOG_REASON = {"rp2040": 0x40058008, "rp2350": 0x400D8008}
# USB, buffer control of endpoint 2 towards the host, which carries the console in MicroPython: bit 10 says that
# a packet waits there for the host to take it. The same address in both chips.
_USB_IN2_CONTROL = 0x50100090
_USB_AVAILABLE = 1 << 10
_USB_FIFO = 256  # bytes that MicroPython keeps behind that packet


def is_watchdog_restart(chip):
    """The interpreter's reset_cause() would also say so after machine.reset(), which uses the watchdog here.
    None: not one of these chips."""
    reason = _WATCHDOG_REASON.get(chip)
    return None if reason is None else bool(mem32[reason] & 1)


def usb_room():
    """How many bytes the console's line takes without waiting, 0: not known. When no packet waits for the host,
    nothing waits behind it either."""
    return 0 if mem16[_USB_IN2_CONTROL] & _USB_AVAILABLE else _USB_FIFO
