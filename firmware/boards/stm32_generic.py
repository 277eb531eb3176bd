"""An STM32F405 board with the pinout of the pyboard 1.1 (PYBV11). Timing class: interrupt.

Pins are named as printed on that board; on another STM32 board change the names. Each input needs its own interrupt
line: the number in the chip's name for the pin (PB12: line 12) must be different for every input, whatever the
letter. Here they are 12 to 15.

The timing figures below are conservative guesses for this chip: `beamfall board measure` measures yours.
"""

NAME = "STM32 generic"
PORT = "generic"
CHIP = "stm32"
MACHINE = "PYBv1.1 with STM32F405RG"  # what the interpreter calls it

# signal -> (pin, active high). The numbers are those of protocol/messages.toml.
OUTPUTS = {
    1: ("X1", True),  # valve 1
    2: ("X2", True),  # valve 2
    3: ("X3", True),  # valve 3
    7: ("X4", True),  # camera focus
    8: ("X5", True),  # camera shutter
    4: ("X6", True),  # flash 1
    5: ("X7", True),  # flash 2
    6: ("X8", True),  # flash 3
}
# signal -> (pin, level when dark or on, pull)
INPUTS = {
    9: ("Y5", 1, "up"),  # PB12, beam 1: the photo transistor pulls low while light falls on it
    10: ("Y6", 1, "up"),  # PB13, beam 2
    11: ("Y7", 0, "up"),  # PB14, flash seen
    12: ("Y8", 0, "up"),  # PB15, button to ground
}
LED = ("LED_BLUE", True)  # (pin, active high); None: there is none

# The serial line: "on", "off" or None (as it is) is what the host sets before it talks.
DTR = "on"  # without it the board does not send
RTS = "on"
USB_IDS = ((0xF055, 0x9800), (0xF055, 0x9801), (0xF055, 0x9802))

# What the timing is worth, in microseconds; see ports/generic/port.py.
EARLIEST_US = 3000  # the alarm is a beat of 1 ms
EARLIEST_BEAM_US = 500
LATE_US = 100
ENTRY_US = 0
DRIVE_US = 0

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
WATCHDOG_MS = 4000  # 0: none
