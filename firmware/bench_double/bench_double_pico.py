"""Bench double on a Raspberry Pi Pico: the ordinary firmware with inputs and outputs swapped; see README.md.

A controller's output is an input here, and the reverse; each wire runs from a GPIO to the same GPIO, except those that
share an input. The inputs need external pull-down resistors: behind a diode nothing else pulls low.
"""

NAME = "Bench double on Raspberry Pi Pico"
PORT = "rp2"
CHIP = "rp2040"
MACHINE = "Raspberry Pi Pico with RP2040"

# signal -> (pin, active high). In the double's own terms; behind the dash what it is to the controller.
OUTPUTS = {
    4: (10, True),  # flash 1 - beam 1, high is dark
    5: (11, True),  # flash 2 - beam 2
    6: (12, False),  # flash 3 - flash seen, low is light
    1: (13, False),  # valve 1 - button, low is pressed
}
# signal -> (pin, level when dark or on, pull)
INPUTS = {
    9: (2, 1, None),  # beam 1 - valves 1 to 3, joined by diodes
    10: (5, 1, None),  # beam 2 - camera focus and shutter, joined by diodes
    11: (7, 1, None),  # flash seen - flashes 1 to 3, joined by diodes
}
ZERO_PIN = 20
MARK_PINS = (21, 22)
LED = (25, True)

DTR = "on"
RTS = "on"
USB_IDS = ((0x2E8A, 0x0005),)

# Nothing here gets warm: limits are those of the wire and of the firmware's memory.
ROWS_MAX = 160
VALVE_MAX_US = 200000
VALVE_GAP_US = 100
DUTY_PERCENT = 50
DUTY_WINDOW_MS = 10000
RINSE_MAX_MS = 1000
FLASH_MAX_US = 1000000  # a beam that stays dark for a second
FLASH_GAP_US = 20
CAMERA_MAX_MS = 1000
WINDOW_MAX_MS = 5000
WATCHDOG_MS = 0
