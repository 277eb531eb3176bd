"""Runs the firmware on a board with an RP2040 or RP2350."""

import micropython
from machine import mem32

from beamfall_board import wire_definition as wire
from ports import maintenance
from ports.rp2.registers import Chip

_SLOTS = "/slots"


def run(profile):
    """Comes back, with the outputs off and the interpreter's prompt to follow, only for maintenance."""
    if maintenance.is_wanted(profile):
        return
    from beamfall_board.board import Board
    from ports.rp2.port import Port

    micropython.kbd_intr(-1)  # byte 0x03 is data on this line
    # Bit 0: the watchdog's timer ran out. The interpreter's reset_cause() would also say so after machine.reset().
    late = mem32[Chip(profile.CHIP).watchdog_reason] & 1
    cause = wire.CAUSE_WATCHDOG if late else wire.CAUSE_RESTARTED
    port = Port(profile)
    try:
        if profile.WATCHDOG_MS:
            port.start_watchdog(profile.WATCHDOG_MS)
        board = Board(port, profile, cause, _SLOTS)
        board.slots.between_steps = port.feed_watchdog
        board.run()
    finally:
        port.outputs_off()
