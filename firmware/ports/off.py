"""Sets every output to its inactive level, using only the profile: the first thing a real board does."""

from machine import Pin


def outputs_off(profile):
    """Make a new pin object for each: it stops whatever drove the pin before (state machine, timer)."""
    for pin, active_high in profile.OUTPUTS.values():
        Pin(pin, Pin.OUT, value=0 if active_high else 1)
