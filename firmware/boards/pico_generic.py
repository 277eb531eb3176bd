"""A Raspberry Pi Pico without its state machines: the pins of `pico`, the generic port. For comparison only.

The timing figures below come from an emulated RP2040 with MicroPython 1.28 (firmware/ports/generic/README.md).
"""

from boards.pico import (  # noqa: F401 - the same board
    CAMERA_MAX_MS,
    CHIP,
    DTR,
    DUTY_PERCENT,
    DUTY_WINDOW_MS,
    FLASH_GAP_US,
    FLASH_MAX_US,
    INPUTS,
    LED,
    MACHINE,
    OUTPUTS,
    RINSE_MAX_MS,
    ROWS_MAX,
    RTS,
    USB_IDS,
    VALVE_GAP_US,
    VALVE_MAX_US,
    WATCHDOG_MS,
    WINDOW_MAX_MS,
)

NAME = "Raspberry Pi Pico, generic port"
PORT = "generic"

EARLIEST_US = 1000
EARLIEST_BEAM_US = 150
LATE_US = 100
ENTRY_US = 15
DRIVE_US = 20
