"""Figures of the main job: how fast a command starts, one shot, a thousand shots, and how exactly the flash follows.

    python tests/benchmarks/main_job.py [--shots 1000]

Times are of whole processes, the median of several runs; nothing is asserted. On a simulated port the exactness
proves the plumbing (planning, wire, firmware's arithmetic, log), not the timing of any chip.
"""

from __future__ import annotations

import argparse
import os
import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path


def time_command(*arguments: str, runs: int = 7) -> tuple[float, float, float]:
    """Return the least, median and greatest wall time in s of `beamfall ARGUMENTS`, after one warm-up."""
    beamfall = Path(sys.executable).with_name("beamfall")
    command = [str(beamfall)] if beamfall.exists() else [sys.executable, "-m", "beamfall"]
    times = []
    for index in range(runs + 1):
        start = time.perf_counter()
        subprocess.run([*command, *arguments], check=True, stdout=subprocess.DEVNULL)
        if index:
            times.append(time.perf_counter() - start)
    return min(times), statistics.median(times), max(times)


def fire_many(shots: int, port: str) -> None:
    """Fire shots through everything but the terminal: plan, wire, firmware, rig, log."""
    from beamfall.board import Board
    from beamfall.planning.collision import plan_collision
    from beamfall.setup.rig import example_rig
    from beamfall.shots import ShotLog
    from beamfall.workflows.series import Shooter

    rig = example_rig()
    sequence = plan_collision(rig).sequence
    off_by: dict[int, int] = {}
    states: dict[str, int] = {}
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "log.sqlite3"
        with ShotLog.open(path) as log, Board.connect(port, rig=rig, seed=1) as board:
            shooter = Shooter.begin(board, log, "benchmark", rig=rig, seed=1)
            start = time.perf_counter()
            for _ in range(shots):
                record = shooter.fire(sequence)
                shooter.rest(2.0)
                states[record.state] = states.get(record.state, 0) + 1
                if record.state != "fired":
                    continue
                dark = [e.ticks for e in record.edges if e.what == "beam1" and e.edge == "dark"]
                flash = [e.ticks for e in record.edges if e.what == "flash1" and e.edge == "on"]
                off = flash[0] - dark[1] - record.flash_delay_ticks
                off_by[off] = off_by.get(off, 0) + 1
            seconds = time.perf_counter() - start
            counters = board.counters
        size = path.stat().st_size
    print(
        f"{port}: {shots} shots in {seconds:.2f} s: {shots / seconds:.0f} shots/s"
        f"{' (aim 300, at least 50)' if port == 'sim' else ''}; log {size / shots:.0f} bytes a shot"
    )
    print(
        f"  states {states}; frames {counters.frames_sent} sent, {counters.frames_good} received, all encoded"
    )
    print(f"  flash edge minus beam edge minus commanded delay, in ticks: {off_by} (must be all 0)")


def main() -> None:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--shots", type=int, default=1000)
    shots = parser.parse_args().shots
    with tempfile.TemporaryDirectory() as folder:
        os.environ["BEAMFALL_LOG"] = str(Path(folder) / "shots.sqlite3")
        for name, arguments, wanted in (
            ("beamfall --help", ("--help",), "under 0.3 s"),
            ("beamfall shoot --port sim", ("shoot", "--port", "sim"), "under 2 s"),
            ("beamfall shoot --port sim:micropython", ("shoot", "--port", "sim:micropython"), ""),
        ):
            least, median, most = time_command(*arguments)
            print(f"{name}: median {median:.3f} s ({least:.3f} to {most:.3f}) {wanted}")
        fire_many(shots, "sim")
        fire_many(max(20, shots // 10), "sim:micropython")


if __name__ == "__main__":
    main()
