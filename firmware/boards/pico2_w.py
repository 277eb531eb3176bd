"""Raspberry Pi Pico 2 W (RP2350). The pins of `pico2`; see there for the chip's erratum E9.

The board's LED is connected to the radio chip, which would need one of our state machines: connect an LED to
GP17 instead (330 ohm to ground).
"""

from boards.pico2 import (  # noqa: F401 - the same pins and limits
    CAMERA_MAX_MS,
    CHIP,
    COIL_CURRENT,
    DTR,
    DUTY_PERCENT,
    DUTY_WINDOW_MS,
    FLASH_GAP_US,
    FLASH_MAX_US,
    INPUTS,
    MARK_PINS,
    OUTPUTS,
    PORT,
    RINSE_MAX_MS,
    ROWS_MAX,
    RTS,
    SUPPLY_VOLTAGE,
    USB_IDS,
    VALVE_GAP_US,
    VALVE_MAX_US,
    WATCHDOG_MS,
    WINDOW_MAX_MS,
    ZERO_PIN,
)

NAME = "Raspberry Pi Pico 2 W"
MACHINE = "Raspberry Pi Pico 2 W with RP2350"  # what the interpreter calls it
LED = (17, True)  # (pin, active high); external
