"""The board that exists only in software: firmware and rig in virtual time (`--port sim`)."""

NAME = "simulated"
PORT = "simulated"

# signal -> (pin, active high). The numbers are those of protocol/messages.toml; the pins name nothing.
OUTPUTS = {
    1: (0, True),
    2: (1, True),
    3: (2, True),
    4: (3, True),
    5: (4, True),
    6: (5, True),
    7: (6, True),
    8: (7, True),
}
# signal -> (pin, level when dark or on, pull)
INPUTS = {9: (8, 1, None), 10: (9, 1, None), 11: (10, 1, None), 12: (11, 1, None)}

CLOCK_HZ = 125000000
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
