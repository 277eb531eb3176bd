"""A host holds the port open and does not read: the board goes on with its shot undisturbed.

Needs BEAMFALL_EMULATOR and BEAMFALL_IMAGE (DEVELOPERS.md).
"""

from __future__ import annotations

import sys
from pathlib import Path

HERE = Path(__file__).parent
sys.path.insert(0, str(HERE.parents[1] / "board"))

SCENARIO = HERE / "stalled_scenario.py"
SHUTTER_PIN = 6  # firmware/boards/pico.py
WINDOW_S = 0.4


def test_the_windows_end_is_kept_while_the_host_does_not_read(emulated: tuple[Path, Path]) -> None:
    from emulated_board import emulated_board

    from beamfall.board import Board
    from beamfall.link.session import LinkTiming
    from beamfall.setup.sequence import Row, Sequence

    rows = (Row("release", 0, "shutter", 0.010, 5.0), Row("beam1", 1, "flash1", 0.030, 0.001))
    timing = LinkTiming(first_s=40, longest_s=60, hello_tries=8)
    with (
        emulated_board(*emulated, scenario=SCENARIO) as board_at,
        Board.connect(board_at.url, timing=timing) as board,
    ):
        ticket = board.arm(Sequence(rows=rows, window_s=WINDOW_S, tail_s=0.01))
        board.release(ticket)
        outcome = board.wait_for(ticket)
        assert outcome.done.state.name == "missed"
    result = board_at.result
    (on, off) = [t for t, gpio, _, _ in result["transitions"] if gpio == SHUTTER_PIN][-2:]
    assert result["scenario"]["held"] == 1  # a packet that nobody took
    late_ms = (off - on) / 1e6 - (WINDOW_S - 0.010) * 1e3
    print(f"outputs off {late_ms:.2f} ms after the window's end")
    assert 0 <= late_ms < 10
