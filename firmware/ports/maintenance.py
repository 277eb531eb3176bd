"""The way in for an installer: the firmware takes Ctrl-C away, and a watchdog cannot be stopped once it runs.

Two ways: a request on the wire, which leaves a file and restarts; or the button held down at the start. Either is
looked at before the main loop and the watchdog begin. The file goes when it is found, so that the start after that is
an ordinary one.
"""

import os
import time

from machine import Pin

from beamfall_board import wire_definition as wire

_FILE = "/maintenance.now"
_HELD_MS = 30  # held for so long is held, not a contact's chatter


def home():
    """Where the interpreter keeps its files: "" where the root is a file system, "/flash" on some boards."""
    here = os.getcwd()
    return "" if here == "/" else here


def ask_for():
    """The next start is for maintenance."""
    with open(home() + _FILE, "wb") as file:
        file.write(b"1")


def _take_file():
    try:
        os.remove(home() + _FILE)
        return True
    except OSError:
        return False


def is_wanted(profile):
    """Whether this start is for maintenance. To be asked once, with the outputs off."""
    return _take_file() or _is_held(profile)


def _is_held(profile):
    button = profile.INPUTS.get(wire.SIGNAL_BUTTON1)
    if button is None:
        return False
    number, on_high, pull = button
    pulls = {None: None, "up": Pin.PULL_UP, "down": Pin.PULL_DOWN}
    pin = Pin(number, Pin.IN) if pull is None else Pin(number, Pin.IN, pulls[pull])
    time.sleep_ms(1)  # the pull has done its work
    for _ in range(_HELD_MS):
        if bool(pin()) != bool(on_high):
            return False
        time.sleep_ms(1)
    return True
