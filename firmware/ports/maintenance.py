"""How an installer gets in: the firmware disables Ctrl-C, and a running watchdog cannot be stopped.

There are two ways: a request over the wire, which leaves a file and restarts; or the button held down at the start.
Both are checked before the main loop and the watchdog start. The file is removed when it is found, so that the start
after that is an ordinary one.
"""

import os
import time

from machine import Pin

from beamfall_board import wire_definition as wire

_FILE = "/maintenance.now"
_HELD_MS = 30  # a contact closed for this long is held, not chattering


def home():
    """Where the interpreter keeps its files: "" if the root is a file system, "/flash" on some boards."""
    here = os.getcwd()
    return "" if here == "/" else here


def ask_for():
    """Make the next start one for maintenance."""
    with open(home() + _FILE, "wb") as file:
        file.write(b"1")


def _take_file():
    try:
        os.remove(home() + _FILE)
        return True
    except OSError:
        return False


def is_wanted(profile):
    """Whether this start is for maintenance. Call it once, with the outputs off."""
    return _take_file() or _is_held(profile)


def _is_held(profile):
    button = profile.INPUTS.get(wire.SIGNAL_BUTTON1)
    if button is None:
        return False
    number, on_high, pull = button
    pulls = {None: None, "up": Pin.PULL_UP, "down": Pin.PULL_DOWN}
    pin = Pin(number, Pin.IN) if pull is None else Pin(number, Pin.IN, pulls[pull])
    time.sleep_ms(1)  # for the pull to act
    for _ in range(_HELD_MS):
        if bool(pin()) != bool(on_high):
            return False
        time.sleep_ms(1)
    return True
