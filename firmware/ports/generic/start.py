"""Runs the firmware on a board without state machines."""

import machine
import micropython

from beamfall_board import wire_definition as wire
from ports import maintenance, rp2_chip


def _stm32_room():
    """Its USB line is writable when at least half of 1 kB is free (MicroPython 1.28, ports/stm32/usb.c)."""
    return 64


class _NotKept:
    """For chips on which nothing outlasts a restart. After one by the watchdog, valves count as having been open for as
    long as they may be."""

    def __init__(self, profile, late):
        self.before_ms = profile.DUTY_WINDOW_MS * profile.DUTY_PERCENT // 100 if late else 0

    def keep(self, ms):
        pass


def _make_console(chip):
    from ports.console import Console

    if chip in rp2_chip.NAMES:
        return Console(rp2_chip.usb_room)
    return Console(_stm32_room) if chip == "stm32" else Console()


def run(profile):
    """Returns only for maintenance, with the outputs off; the interpreter's prompt follows. Raises ValueError, with the
    outputs off, if the profile is for another chip."""
    from beamfall_board.board import Board
    from ports.generic.port import Port

    rp2_chip.check(profile.CHIP)
    if maintenance.is_wanted(profile):
        return
    micropython.alloc_emergency_exception_buf(100)
    late = rp2_chip.is_watchdog_restart(profile.CHIP)
    if late is None:
        late = machine.reset_cause() == machine.WDT_RESET
    cause = wire.CAUSE_WATCHDOG if late else wire.CAUSE_RESTARTED
    known = profile.CHIP in rp2_chip.NAMES
    open_time = rp2_chip.OpenTime(profile.CHIP) if known else _NotKept(profile, late)
    port = Port(profile, _make_console(profile.CHIP))
    try:
        if profile.WATCHDOG_MS:
            port.start_watchdog(profile.WATCHDOG_MS)
        board = Board(port, profile, cause, maintenance.home() + "/slots", open_time)
        board.slots.between_steps = port.feed_watchdog
        board.run()
    finally:
        port.outputs_off()
