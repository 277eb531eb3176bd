"""A board that is about to shoot, and its main loop, run for a number of rounds."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
from scripted import BEAM1, MS, Bench

CORE = str(Path(__file__).resolve().parents[2] / "firmware" / "beamfall_board")
ROWS = [
    (0, 0, 8, 1 * MS, 400 * MS),
    (0, 0, 1, 2 * MS, 20 * MS),
    (0, 0, 1, 60 * MS, 20 * MS),
    (1, 2, 4, 30 * MS, 1 * MS),
]
WAITING = {"window_ticks": 300 * MS, "await1": 2, "dwell_ticks": MS // 10, "blanking_ticks": 5 * MS}


def ready_bench() -> tuple[Bench, bytes]:
    bench = Bench()
    answer, digest = bench.upload(ROWS, **WAITING)
    assert answer.name == "done", answer
    for start in (50, 100, 101):
        bench.rig.at(bench.now + start * MS + 7, BEAM1, 1)
        bench.rig.at(bench.now + (start + 1) * MS // 1 - MS // 2, BEAM1, 0)
    return bench, digest


class Stopped(BaseException):
    """An exception from outside, as when a person at the console presses Ctrl-C."""


class CountingPort:
    """The bench's port, with a record of its main loop's calls."""

    def __init__(self, port: Any, rounds: int) -> None:
        self._port = port
        self.rounds = rounds
        self.fed = 0
        self.order: list[str] = []

    def __getattr__(self, name: str) -> Any:
        return getattr(self._port, name)

    def __setattr__(self, name: str, value: Any) -> None:
        if name in ("_port", "rounds", "fed", "order"):
            object.__setattr__(self, name, value)
        else:
            setattr(self._port, name, value)

    def feed_watchdog(self) -> None:
        self.fed += 1

    def idle(self, ms: int) -> None:
        self.rounds -= 1
        if self.rounds <= 0:
            raise Stopped
        self._port.idle(min(ms, 1))


def run_main_loop(bench: Bench, rounds: int) -> CountingPort:
    bench.transport._channel.granted = bench.now + 10**12
    port = CountingPort(bench.transport._port, rounds)
    bench.board.port = port
    with pytest.raises(Stopped):
        bench.board.run()
    return port
