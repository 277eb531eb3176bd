"""Figures of the main job: how fast a command starts, one shot, a thousand shots, and how exactly the flash follows.

    python tests/benchmarks/main_job.py [--shots 1000]

Times are of whole processes; nothing is asserted. On a simulated port the exactness
proves the plumbing (planning, wire, firmware's arithmetic, log), not the timing of any chip.
"""

from __future__ import annotations

import argparse
import os
import tempfile
import time
from pathlib import Path

from timing import compiled_once, say_taken, time_command


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
            start, work_start = time.perf_counter(), time.process_time()
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
            seconds, work_s = time.perf_counter() - start, time.process_time() - work_start
            counters = board.counters
        size = path.stat().st_size
    print(
        f"{port}: {shots} shots in {seconds:.2f} s: {shots / seconds:.0f} shots/s, "
        f"{1e3 * work_s / shots:.1f} ms of processor a shot"
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
    with tempfile.TemporaryDirectory() as folder, compiled_once():
        os.environ["BEAMFALL_LOG"] = str(Path(folder) / "shots.sqlite3")
        for arguments, wanted in (
            ("--help", "under 0.3 s"),
            ("plan", "under 1 s"),
            ("shoot --port sim", "under 2 s"),
            ("shoot --port sim:micropython", ""),
        ):
            print(f"beamfall {arguments}: {say_taken(time_command(*arguments.split()))} {wanted}")
        fire_many(shots, "sim")
        fire_many(max(20, shots // 10), "sim:micropython")


if __name__ == "__main__":
    main()
