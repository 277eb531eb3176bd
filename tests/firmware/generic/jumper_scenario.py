"""A jumper wire at the pins of an emulated Pico, from valve 1 to beam 1, and nothing else: a scenario for the emulator.

Arguments (K=V): stop, ready   paths of files, as in tests/board/emulated_rig.py
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

VALVE1, BEAM1, BEAM2, LIGHT1, BUTTON1 = 2, 10, 11, 12, 13  # GPIO of firmware/boards/pico.py
LOOK_NS, READY_NS = 20e6, 300e6


def setup(board: Any) -> None:
    for pin, level in ((BEAM1, 0), (BEAM2, 0), (LIGHT1, 1), (BUTTON1, 1)):
        board.drive(pin, level)
    board.wire(VALVE1, BEAM1)

    def look() -> None:
        if Path(board.args["stop"]).exists():
            board.stop()
        else:
            board.at(board.now + LOOK_NS, look)

    look()
    board.at(READY_NS, Path(board.args["ready"]).touch)
