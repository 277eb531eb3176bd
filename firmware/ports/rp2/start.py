"""Runs the firmware on a board with an RP2040 or RP2350."""

import machine
import micropython

from beamfall_board import wire_definition as wire
from beamfall_board.board import Board
from ports.rp2.port import Port


def run(profile):
    micropython.kbd_intr(-1)  # byte 0x03 is data on this line
    port = Port(profile)
    try:
        cause = wire.CAUSE_RESTARTED
        if machine.reset_cause() == machine.WDT_RESET:
            cause = wire.CAUSE_WATCHDOG
        if profile.WATCHDOG_MS:
            port.start_watchdog(profile.WATCHDOG_MS)
        Board(port, profile, cause).run()
    finally:
        port.outputs_off()
