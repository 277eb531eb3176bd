"""Runs the firmware on a board with an RP2040 or RP2350."""

from beamfall_board import wire_definition as wire
from ports import maintenance, rp2_chip

_SLOTS = "/slots"


def run(profile):
    """Returns only for maintenance, with the outputs off; the interpreter's prompt follows. Raises ValueError, with the
    outputs off, if the profile is for another chip."""
    rp2_chip.check(profile.CHIP)
    if maintenance.is_wanted(profile):
        return
    from beamfall_board.board import Board
    from ports.rp2.port import Port

    late = rp2_chip.is_watchdog_restart(profile.CHIP)
    cause = wire.CAUSE_WATCHDOG if late else wire.CAUSE_RESTARTED
    port = Port(profile)
    try:
        if profile.WATCHDOG_MS:
            port.start_watchdog(profile.WATCHDOG_MS)
        board = Board(port, profile, cause, _SLOTS, rp2_chip.OpenTime(profile.CHIP))
        board.slots.between_steps = port.feed_watchdog
        board.run()
    finally:
        port.outputs_off()
