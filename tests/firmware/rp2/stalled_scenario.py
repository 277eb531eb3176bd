"""A host that holds the port open and does not read, on an emulated board: a scenario for the emulator.

From 40 ms after the shutter's contact closes, until 1.2 s after, no packet of the console is taken from the board,
while it is made to answer more than its line can hold. Arguments (K=V): stop and ready, paths of files, as in
tests/board/scenario_files.py.
"""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Any

from beamfall.wire import Message, encode_frame, get_codec

sys.path.insert(0, str(Path(__file__).resolve().parents[2] / "board"))
from scenario_files import watch_files  # noqa: E402

SHUTTER, BEAM1, BEAM2, LIGHT1, BUTTON1 = 6, 10, 11, 12, 13  # GPIO of firmware/boards/pico.py
# In the USB controller's memory: RP2040 datasheet, buffer control.
IN2_CONTROL, AVAILABLE = (0x90, 0x400)
MS = 1_000_000
STALL_NS, READ_AGAIN_NS = 40 * MS, 1200 * MS
SESSION = 12345
ASK_NS = 6 * MS  # one by one, so that the line does not fill up in whole packets
REQUESTS = 40  # of no session: each is refused at once, in about 25 bytes

state: dict[str, Any] = {"stalled": False, "held": []}


def setup(board: Any) -> None:
    for pin, level in ((BEAM1, 0), (BEAM2, 0), (LIGHT1, 1), (BUTTON1, 1)):
        board.drive(pin, level)
    usb = board.mcu.usb_ctrl
    state["taken"] = usb.dpram_updated

    def written(offset: int, value: int) -> None:
        if state["stalled"] and offset == IN2_CONTROL and value & AVAILABLE:
            state["held"].append((offset, value))
            return
        state["taken"](offset, value)

    usb.dpram_updated = written

    watch_files(board)


def on_edge(gpio: int, level: int, t_ns: int, board: Any) -> None:
    if gpio == SHUTTER and level:
        board.at(t_ns + STALL_NS, lambda: stall(board))
        board.at(t_ns + READ_AGAIN_NS, read_again)


def stall(board: Any) -> None:
    state["stalled"] = True
    codec = get_codec()
    for number in range(1, REQUESTS + 1):
        frame = codec.make_frame(Message("status", {}), SESSION, number)
        asked = encode_frame(frame, codec.definition)
        board.at(board.now + number * ASK_NS, lambda asked=asked: board.send(asked))


def read_again() -> None:
    state["stalled"] = False
    held, state["held"] = state["held"], []
    state["was_held"] = len(held)
    for offset, value in held:
        state["taken"](offset, value)


def finish(board: Any) -> dict[str, Any]:
    return {"held": state.get("was_held", 0)}
