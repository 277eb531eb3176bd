"""A jumper wire at the pins of an emulated Pico, from valve 1 to beam 1, and nothing else: a scenario for the emulator.

Arguments (K=V): stop, ready   paths of files, as in tests/board/scenario_files.py
"""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).resolve().parents[2] / "board"))
from scenario_files import watch_files  # noqa: E402

VALVE1, BEAM1, BEAM2, LIGHT1, BUTTON1 = 2, 10, 11, 12, 13  # GPIO of firmware/boards/pico.py


def setup(board: Any) -> None:
    for pin, level in ((BEAM1, 0), (BEAM2, 0), (LIGHT1, 1), (BUTTON1, 1)):
        board.drive(pin, level)
    board.wire(VALVE1, BEAM1)

    watch_files(board)
