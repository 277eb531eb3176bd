"""Restarts of a whole emulated board, at its pins and at the host: the watchdog's bite, and the way to maintenance.

Needs an emulator and a MicroPython image, as test_emulated_board does; some minutes each.
"""

from __future__ import annotations

import sys
import time
from pathlib import Path
from typing import Any

import pytest

from beamfall.board import Board
from beamfall.errors import BoardRestarted
from beamfall.link.session import LinkTiming

sys.path.insert(0, str(Path(__file__).parent))

PATIENCE = LinkTiming(first_s=10, longest_s=20, tries=60)  # the emulator is some 50 times slower
OPENING_NS = 200e6


def outputs_on(result: dict[str, Any]) -> dict[int, list[tuple[float, float]]]:
    """By signal, when the pin went on and off, in ns."""
    signals = {int(pin): signal for pin, signal in result["scenario"]["outputs"].items()}
    found: dict[int, list[tuple[float, float]]] = {}
    since: dict[int, float] = {}
    for t, gpio, level, kind in result["transitions"]:
        if kind != "out" or gpio not in signals:
            continue
        if level == 1:
            since[gpio] = t
        elif gpio in since:
            found.setdefault(signals[gpio], []).append((since.pop(gpio), t))
    assert not since, "an output stayed on"
    return found


def test_the_watchdog_restarts_a_board_that_hangs_with_a_valve_open(
    emulated: tuple[Path, Path],
) -> None:
    from emulated_board import emulated_board

    with (
        emulated_board(*emulated, around="hanging", drops=0) as board_at,
        Board.connect(board_at.url, timing=PATIENCE) as board,
    ):
        first = board.status().boot_id
        with pytest.raises(BoardRestarted, match="watchdog"):
            board.drip(1, OPENING_NS * 1e-9)
        status = board.status()
        assert status.boot_id != first
        assert (status.state.name, status.cause.name) == ("idle", "watchdog")
        # It is of use again, though what the valve was open before counts on: 200 of 300 ms. The library waits.
        assert board.drip(1, 0.15).done.state.name == "idle"
    on = outputs_on(board_at.result)
    assert set(on) == {1}
    first, second = on[1]
    # Closed by the hardware to the clock's tick, while nothing looked after it.
    assert first[1] - first[0] == pytest.approx(OPENING_NS, abs=8)
    assert second[1] - second[0] == pytest.approx(150e6, abs=8)
    # In the ten seconds up to the second's end the first may have been open for 150 ms at most, and the wait for that
    # was no longer than the board may ask for, with the seconds that this host needs to see a restart.
    assert 10e9 <= second[1] - (first[1] - 150e6) < 16e9


def test_a_board_goes_to_maintenance_and_back(emulated: tuple[Path, Path]) -> None:
    import serial
    from emulated_board import emulated_board

    with emulated_board(*emulated, drops=0) as board_at:
        with Board.connect(board_at.url, timing=PATIENCE) as board:
            board.enter_maintenance()
        line = serial.serial_for_url(board_at.url, timeout=0.5)
        seen = b""
        until = time.monotonic() + 120
        line.write(b"\r\x03")
        while b">>> " not in seen and time.monotonic() < until:
            seen += line.read(4096)
        assert b">>> " in seen, seen[-200:]
        line.write(b"import machine; machine.reset()\r\n")
        time.sleep(1)
        line.close()
        with Board.connect(board_at.url, timing=PATIENCE) as board:
            assert board.status().cause.name == "restarted"
    assert outputs_on(board_at.result) == {}
