"""The serial ports of this computer.

A board is recognised only by its USB ids: operating systems translate the descriptions.
"""

from __future__ import annotations

import os
import re
from dataclasses import dataclass

# USB vendor and product ids of MicroPython's serial port on RP2040 and RP2350 (MicroPython 1.2x,
# ports/rp2/mpconfigport.h, MICROPY_HW_USB_VID and MICROPY_HW_USB_PID).
BOARD_IDS = frozenset({(0x2E8A, 0x0005)})


@dataclass(frozen=True, slots=True)
class PortSeen:
    """A serial port of this computer; `vid` and `pid` are None if it is not USB."""

    device: str
    vid: int | None
    pid: int | None
    serial_number: str | None

    @property
    def is_candidate(self) -> bool:
        """Whether its USB ids belong to a board that can run this firmware."""
        return (self.vid, self.pid) in BOARD_IDS

    def __str__(self) -> str:
        ids = "not USB" if self.vid is None else f"USB {self.vid:04x}:{self.pid or 0:04x}"
        number = f", serial number {self.serial_number}" if self.serial_number else ""
        return f"{self.device} ({ids}{number})"


def list_ports() -> list[PortSeen]:
    """Return the serial ports of this computer, candidates first."""
    from serial.tools import list_ports as tool

    ports = [
        PortSeen(port.device, port.vid, port.pid, port.serial_number) for port in tool.comports()
    ]
    return sorted(ports, key=lambda port: (not port.is_candidate, port.device))


def is_same_device(one: str, other: str) -> bool:
    """Whether two names mean one port: COM3 and com3, /dev/cu.x and /dev/tty.x, a link and its target."""
    return _plain_name(one) == _plain_name(other)


def _plain_name(name: str) -> str:
    windows = re.fullmatch(r"(?:\\\\[.?]\\)?(com\d+):?", name, re.IGNORECASE)
    if windows:
        return windows[1].upper()
    if "://" in name:
        return name
    # macOS has two names for each port; list only the one that does not wait for a carrier.
    return re.sub(r"^/dev/tty\.", "/dev/cu.", os.path.realpath(name))
