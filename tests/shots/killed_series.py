"""A series that is killed at random moments and started again: the log must agree with the board's own count."""

from __future__ import annotations

import os
import random
import signal
import sqlite3
import subprocess
import sys
import time
from dataclasses import dataclass
from pathlib import Path

from served_board import ServedBoard

_CHILD = """
import sys
from beamfall.board import Board
from beamfall.setup.rig import example_rig
from beamfall.setup.sequence import Row, Sequence
from beamfall.workflows.series import Shooter
from beamfall.shots import ShotLog

sequence = Sequence(
    (Row("release", 0, "valve1", 0.002, 0.013), Row("beam1", 1, "flash1", 0.1, 0.002)),
    window_s=0.6, tail_s=0.02,
)
rig = example_rig()
with ShotLog.open(sys.argv[2]) as log, Board.connect(sys.argv[1], rig=rig) as board:
    shooter = Shooter.begin(board, log, "shoot", rig=rig)
    print("ready", flush=True)
    for _ in range(int(sys.argv[3])):
        shooter.fire(sequence)
        print("fired", flush=True)
"""


@dataclass
class Tally:
    kills: int = 0
    released: int = 0
    rows: int = 0
    completed: int = 0
    unknown: int = 0
    never_released: int = 0
    without_row: int = 0
    double: int = 0
    corrupt: int = 0

    def say(self) -> str:
        return (
            f"{self.kills} kills; the rig saw {self.released} shots; the log has {self.rows} rows: "
            f"{self.completed} completed, {self.never_released} marked as never released, {self.unknown} "
            f"unknown; shots without a row: {self.without_row}; doubles: {self.double}; corrupt: {self.corrupt}"
        )


def kill_series(path: Path, kills: int, seed: int = 0) -> Tally:
    """Run and kill a series `kills` times, then let one end; return what is in the log and what truly happened."""
    draws = random.Random(f"kill {seed}")
    tally = Tally()
    with ServedBoard() as board:
        for _ in range(kills):
            process = _start(board.url, path, 1000)
            assert process.stdout is not None
            process.stdout.readline()  # ready: kills in the start itself would test little else
            for _ in range(draws.randint(0, 3)):  # as many shots on a slow machine, and
                process.stdout.readline()
            time.sleep(draws.uniform(0.0, 0.1))  # somewhere in the next one or two
            os.kill(process.pid, signal.SIGKILL)
            process.wait()
            process.stdout.close()
            tally.kills += 1
            tally.corrupt += _is_corrupt(path)
        process = _start(board.url, path, 2)
        out, _ = process.communicate(timeout=120)
        assert process.returncode == 0, out
        tally.released = board.valve_openings
    _count(path, tally)
    return tally


def _start(url: str, path: Path, shots: int) -> subprocess.Popen[bytes]:
    return subprocess.Popen(
        [sys.executable, "-c", _CHILD, url, str(path), str(shots)],
        stdout=subprocess.PIPE,
        env={**os.environ, "PYTHONPATH": str(Path(__file__).resolve().parents[2] / "host")},
    )


def _is_corrupt(path: Path) -> bool:
    connection = sqlite3.connect(path, timeout=20.0)
    try:
        return bool(connection.execute("PRAGMA integrity_check").fetchone()[0] != "ok")
    finally:
        connection.close()


def _count(path: Path, tally: Tally) -> None:
    connection = sqlite3.connect(path)
    rows = connection.execute(
        "SELECT state, boot_id, release_number, (SELECT count(*) FROM edge WHERE shot_id = shot.id)"
        " FROM shot"
    ).fetchall()
    connection.close()
    tally.rows = len(rows)
    done = [(boot, release) for state, boot, release, _ in rows if state == "fired"]
    tally.completed = len(done)
    tally.unknown = sum(state == "begun" for state, *_ in rows)
    tally.never_released = sum(state == "not-released" for state, *_ in rows)
    numbers = {release for state, _, release, _ in rows if state != "not-released"}
    tally.without_row = sum(number not in numbers for number in range(1, tally.released + 1))
    tally.double = len(done) - len(set(done))
    # An outcome is written whole: 2 valve, 2 beam and 2 flash edges at least.
    tally.corrupt += sum(state == "fired" and edges < 6 for state, _, _, edges in rows)
