"""Runs the firmware on a board without state machines."""

import machine
import micropython

from beamfall_board import wire_definition as wire
from ports import maintenance, rp2_chip


def run(profile):
    """Comes back, with the outputs off and the interpreter's prompt to follow, only for maintenance."""
    from beamfall_board.board import Board
    from ports.console import Console
    from ports.generic.port import Port

    if maintenance.is_wanted(profile):
        return
    micropython.alloc_emergency_exception_buf(100)
    micropython.kbd_intr(-1)  # byte 0x03 is data on this line
    late = rp2_chip.is_watchdog_restart(profile.CHIP)
    if late is None:
        late = machine.reset_cause() == machine.WDT_RESET
    cause = wire.CAUSE_WATCHDOG if late else wire.CAUSE_RESTARTED
    has_room = profile.CHIP in rp2_chip.NAMES
    port = Port(profile, Console(rp2_chip.usb_room) if has_room else Console())
    try:
        if profile.WATCHDOG_MS:
            port.start_watchdog(profile.WATCHDOG_MS)
        board = Board(port, profile, cause, maintenance.home() + "/slots")
        board.slots.between_steps = port.feed_watchdog
        board.run()
    finally:
        port.outputs_off()
