"""Runs the firmware on a board with an RP2040 or RP2350."""

import micropython
from beamfall_board import wire_definition as wire
from machine import Pin, mem32

from ports.rp2.registers import Chip

_SLOTS = "/slots"
_PULL = {"up": Pin.PULL_UP, "down": Pin.PULL_DOWN}


def maintenance_wanted(profile, chip):
    """Asked for over the wire before the restart, or by the button held down now."""
    from ports.rp2.port import MAINTENANCE

    asked = mem32[chip.scratch] == MAINTENANCE
    mem32[chip.scratch] = 0
    if asked or wire.SIGNAL_BUTTON1 not in profile.INPUTS:
        return asked
    pin, on_high, pull = profile.INPUTS[wire.SIGNAL_BUTTON1]
    button = Pin(pin, Pin.IN)
    if pull is not None:
        button.init(Pin.IN, _PULL[pull])
    return bool(button.value()) == bool(on_high)


def run(profile):
    """Comes back, with the outputs off and the interpreter's prompt to follow, only for maintenance."""
    from beamfall_board.board import Board

    from ports.rp2.port import Port

    chip = Chip(profile.CHIP)
    if maintenance_wanted(profile, chip):
        return
    micropython.kbd_intr(-1)  # byte 0x03 is data on this line
    cause = wire.CAUSE_WATCHDOG if mem32[chip.watchdog_reason] & 1 else wire.CAUSE_RESTARTED
    port = Port(profile)
    try:
        if profile.WATCHDOG_MS:
            port.start_watchdog(profile.WATCHDOG_MS)
        Board(port, profile, cause, _SLOTS).run()
    finally:
        port.outputs_off()
