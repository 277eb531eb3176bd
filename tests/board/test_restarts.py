"""Restarts of a whole emulated board, at its pins and at the host: by the watchdog, and into maintenance, where the
user's own files are saved and restored.

Needs an emulator and a MicroPython image, as test_emulated_board does; some minutes each.
"""

from __future__ import annotations

import contextlib
import sys
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
import serial

from beamfall.board import Board
from beamfall.board_tools.backup import pack_backup, read_backup, read_own_files, write_own_files
from beamfall.board_tools.prompt import Interpreter, Prompt
from beamfall.errors import BoardRestarted, Refused
from beamfall.events import Outcome
from beamfall.link.session import LinkTiming
from beamfall.setup.sequence import Row, Sequence

sys.path.insert(0, str(Path(__file__).parent))

PATIENCE = LinkTiming(first_s=10, longest_s=20, tries=60)  # the emulator is some 50 times slower
OPENING_NS = 200e6
SLOT = 3
CONSTANT = 5  # cycles: not what a board begins with
SHOT = Sequence(
    rows=(Row("release", 0, "valve1", 0.002, 0.001), Row("beam1", 1, "flash1", 0.004, 0.0005)),
    window_s=0.03,
    tail_s=0.005,
    blanking_s=0.002,
)


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
        kept = keep_something(board)
        with pytest.raises(BoardRestarted, match="watchdog"):
            board.drip(1, OPENING_NS * 1e-9)
        status = board.status()
        assert status.boot_id != first
        assert (status.state.name, status.cause.name) == ("idle", "watchdog")
        assert what_is_kept(board) == kept
        board.load_slot(SLOT)
        # It works again, but the 200 of 300 ms for which the valve was open before still count.
        assert drip_when_allowed(board, 0.15).done.state.name == "idle"
    on = outputs_on(board_at.result)
    assert set(on) == {1}
    first, second = on[1]
    # Closed by the hardware to the clock's tick, while nothing looked after it.
    assert first[1] - first[0] == pytest.approx(OPENING_NS, abs=8)
    assert second[1] - second[0] == pytest.approx(150e6, abs=8)
    # In the ten seconds up to the second's end the first may have been open for 150 ms at most, and the wait for that
    # was no longer than the board may ask for, with the seconds that this host needs to see a restart.
    assert 10e9 <= second[1] - (first[1] - 150e6) < 16e9


def test_slots_and_edge_constant_are_saved_erased_and_restored(
    emulated: tuple[Path, Path], tmp_path: Path
) -> None:
    from emulated_board import emulated_board

    saved = tmp_path / "kept.zip"
    with emulated_board(*emulated, drops=0) as board_at:
        with Board.connect(board_at.url, timing=PATIENCE) as board:
            kept = keep_something(board)
            board.enter_maintenance()
        with at_prompt(board_at.url) as (prompt, who):
            saved.write_bytes(pack_backup(read_own_files(prompt, who.home, who.machine)))
        with Board.connect(board_at.url, timing=PATIENCE) as board:
            assert board.status().cause.name == "restarted"
            board.erase_slot(SLOT)
            board.store_edge_constant(CONSTANT + 1)
            assert what_is_kept(board) != kept
            board.enter_maintenance()
        with at_prompt(board_at.url) as (prompt, who):
            write_own_files(prompt, who.home, who.machine, read_backup(saved), print)
        with Board.connect(board_at.url, timing=PATIENCE) as board:
            assert what_is_kept(board) == kept
            board.load_slot(SLOT)
    assert outputs_on(board_at.result) == {}


def drip_when_allowed(board: Board, opening_s: float) -> Outcome:
    """Ask again until the valve has rested: the library gives up sooner than a slow emulator's clock gets there."""
    until = time.monotonic() + 900
    while True:
        try:
            return board.drip(1, opening_s)
        except Refused as refusal:
            if refusal.reason != "too_soon" or time.monotonic() > until:
                raise


def keep_something(board: Board) -> object:
    """Save a slot, choose it, and store an edge constant."""
    board.upload(SHOT)
    board.save_slot(SLOT)
    board.choose_slot(SLOT)
    board.store_edge_constant(CONSTANT)
    kept = what_is_kept(board)
    assert board.slots().chosen == SLOT and board.edge_constant().ticks == CONSTANT
    return kept


def what_is_kept(board: Board) -> object:
    return board.slots(), board.edge_constant(), board.info.name


@contextlib.contextmanager
def at_prompt(url: str) -> Iterator[tuple[Prompt, Interpreter]]:
    """The interpreter's prompt of a board that is on its way to maintenance; the board starts again at the end."""
    line = serial.serial_for_url(url, timeout=0.5)
    seen = b""
    until = time.monotonic() + 600
    line.write(b"\r\x03")
    while b">>> " not in seen and time.monotonic() < until:
        seen += line.read(4096)
    assert b">>> " in seen, seen[-200:]
    line.timeout = 900
    prompt = Prompt(line, url, patience_s=900)
    try:
        yield prompt, prompt.enter()
        prompt.restart()
    finally:
        prompt.close()
