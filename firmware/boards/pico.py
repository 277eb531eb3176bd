"""Raspberry Pi Pico (RP2040). Pins are GPIO numbers, as printed GPn on the board's underside.

Outputs and inputs are consecutive, GP2 to GP13, so that one state machine can stamp them all. GP20, GP21 and GP22 carry
the common zero and the marks of counted edges from one block of machines to the other: leave them unconnected (or
connect an oscilloscope).
"""

NAME = "Raspberry Pi Pico"
PORT = "rp2"
CHIP = "rp2040"
MACHINE = "Raspberry Pi Pico with RP2040"  # what the interpreter calls it

# signal -> (pin, active high). The numbers are those of protocol/messages.toml.
OUTPUTS = {
    1: (2, True),  # valve 1
    2: (3, True),  # valve 2
    3: (4, True),  # valve 3
    7: (5, True),  # camera focus
    8: (6, True),  # camera shutter
    4: (7, True),  # flash 1
    5: (8, True),  # flash 2
    6: (9, True),  # flash 3
}
# signal -> (pin, level when dark or on, pull)
INPUTS = {
    9: (10, 1, "up"),  # beam 1: the photo transistor pulls low while light falls on it
    10: (11, 1, "up"),  # beam 2
    11: (12, 0, "up"),  # flash seen
    12: (13, 0, "up"),  # button to ground
}
ZERO_PIN = 20
MARK_PINS = (21, 22)  # beam 1, beam 2
LED = (25, True)  # (pin, active high); None: there is none
# (pin, microamperes a step): 3.3 V, 12 bits, 1.87 V per ampere (hardware/wiring)
COIL_CURRENT = (26, 431)
SUPPLY_VOLTAGE = (27, 8864)  # (pin, microvolts a step): 1/11 of the valves' supply

# The serial line: "on", "off" or None (as it is) is what the host sets before it talks.
DTR = "on"  # without it the board does not send
RTS = "on"
USB_IDS = ((0x2E8A, 0x0005),)

ROWS_MAX = 64
VALVE_MAX_US = 200000
VALVE_GAP_US = 2000  # a 24 V valve takes 1.5 ms to close: hardware/limits.md
DUTY_PERCENT = 30
DUTY_WINDOW_MS = 10000
RINSE_MAX_MS = 5000
FLASH_MAX_US = 20000
FLASH_GAP_US = 20000
CAMERA_MAX_MS = 8000
WINDOW_MAX_MS = 5000
WATCHDOG_MS = 8000  # near the longest that the chip can; 0: none
