"""The two files by which a scenario in the emulator and the test that started it know of each other."""

from __future__ import annotations

from pathlib import Path
from typing import Any

_LOOK_NS, _READY_NS = 20e6, 300e6


def watch_files(board: Any) -> None:
    """End the emulation when the file `stop` is there, and make the file `ready` when a host may speak.

    Both are arguments of the scenario, paths of files; either may be left out.
    """

    def look() -> None:
        if Path(board.args["stop"]).exists():
            board.stop()
        else:
            board.at(board.now + _LOOK_NS, look)

    if "stop" in board.args:
        look()
    if "ready" in board.args:
        board.at(_READY_NS, Path(board.args["ready"]).touch)
