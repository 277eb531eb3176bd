"""An ESP32 (WROOM-32 module) on any development board with USB-serial bridge. Timing class: interrupt.

Pins are GPIO numbers. Left alone: 6 to 11 (flash memory), 0, 2, 5, 12, 15 (read by the chip at its start; 2 carries the
light, which it may), 1 and 3 (the serial line), 5, 14 and 15 (pulse at the start), 34 to 39 (no pull-ups).
All outputs float from power-up until the firmware starts: every driver needs its own pull-down, see hardware/.

The timing figures below are conservative guesses for this chip, whose interrupts run between two bytecodes: `beamfall
board measure` measures yours.
"""

NAME = "ESP32 generic"
PORT = "generic"
CHIP = "esp32"
MACHINE = "Generic ESP32 module with ESP32"  # what the interpreter calls it

# signal -> (pin, active high). The numbers are those of protocol/messages.toml.
OUTPUTS = {
    1: (25, True),  # valve 1
    2: (26, True),  # valve 2
    3: (27, True),  # valve 3
    7: (21, True),  # camera focus
    8: (22, True),  # camera shutter
    4: (18, True),  # flash 1
    5: (19, True),  # flash 2
    6: (23, True),  # flash 3
}
# signal -> (pin, level when dark or on, pull)
INPUTS = {
    9: (32, 1, "up"),  # beam 1: the photo transistor pulls low while light falls on it
    10: (33, 1, "up"),  # beam 2
    11: (4, 0, "up"),  # flash seen
    12: (13, 0, "up"),  # button to ground
}
LED = (2, True)  # (pin, active high); None: there is none

# The serial line: "on", "off" or None (as it is) is what the host sets before it talks.
DTR = "off"  # on these boards DTR and RTS work the reset and the boot pin through two transistors:
RTS = "off"  # both off or both on leave the chip alone, one without the other restarts it
USB_IDS = ()  # many other devices have the bridge's ids: name the port

# What the timing is worth, in microseconds; see ports/generic/port.py.
EARLIEST_US = 2000
EARLIEST_BEAM_US = 2000
LATE_US = 1000
ENTRY_US = 0
DRIVE_US = 0

ROWS_MAX = 64
VALVE_MAX_US = 200000
VALVE_GAP_US = 2000
DUTY_PERCENT = 30
DUTY_WINDOW_MS = 10000
RINSE_MAX_MS = 5000
FLASH_MAX_US = 20000
FLASH_GAP_US = 20000
CAMERA_MAX_MS = 8000
WINDOW_MAX_MS = 5000
WATCHDOG_MS = 4000  # 0: none
