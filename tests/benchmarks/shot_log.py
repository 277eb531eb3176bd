"""How large the shot log grows and how fast it answers: `python tests/benchmarks/shot_log.py [SHOTS] [FOLDER]`.

Writes SHOTS shots (100,000 unless said) of 10 edges each through the log's public methods, in series
of 1,000, each shot with a sequence of its own, as in a sweep (the costliest case). The shots are
simulated ones, perturbed; the log is invented. Then times `shots list` and `repeatability` of one
series, as commands in fresh interpreters, and prints; asserts nothing. A log that is in FOLDER
already is used again.
"""

from __future__ import annotations

import dataclasses
import os
import random
import sys
import tempfile
import time
from pathlib import Path

from timing import compiled_once, say_taken, time_command

from beamfall.board import Board
from beamfall.setup.rig import example_rig
from beamfall.setup.sequence import Row, Sequence
from beamfall.shots import EdgeRecord, ShotLog, ShotRecord
from beamfall.workflows.series import Shooter, describe_link

SERIES_SHOTS = 1000
KINDS = ("with what a simulated rig knows", "as from a board")


def make_sequence(delay_s: float) -> Sequence:
    """Two drops and a flash: 4 valve edges, 4 beam edges, 2 flash edges."""
    return Sequence(
        rows=(
            Row("release", 0, "valve1", 0.002, 0.013),
            Row("release", 0, "valve1", 0.1066, 0.013),
            Row("beam1", 2, "flash1", delay_s, 0.002),
        ),
        window_s=1.0,
        blanking_s=0.02,
    )


def perturb(record: ShotRecord, draws: random.Random) -> ShotRecord:
    """The same shot with other scatter."""

    def move(edge: EdgeRecord) -> EdgeRecord:
        by = round(draws.gauss(0.0, 25_000)) if edge.what.startswith("beam") else 0
        return dataclasses.replace(edge, ticks=None if edge.ticks is None else edge.ticks + by)

    edges = tuple(move(edge) for edge in record.edges if edge.what != "light1")
    return dataclasses.replace(record, edges=edges)


def fill(path: Path, shots: int) -> None:
    draws = random.Random(5)
    rig = example_rig()
    with Board.connect("sim", rig=rig) as board, ShotLog.open(path) as log:
        scratch = ShotLog.open(path.with_suffix(".scratch"))
        shooter = Shooter.begin(board, scratch, "shoot", rig=rig)
        model = shooter.fire(make_sequence(0.18))
        link = describe_link(board)
        series = 0
        sizes = []
        for kind, count in zip(KINDS, (min(shots, 2000), shots), strict=True):
            record = (
                model if kind is KINDS[0] else dataclasses.replace(model, truth=None, seed=None)
            )
            before = path.stat().st_size + path.with_name(path.name + "-wal").stat().st_size
            began = time.perf_counter()
            for number in range(count):
                if number % SERIES_SHOTS == 0:
                    series = log.begin_series("sweep", rig=rig, name=f"invented {number}")
                delay_s = 0.15 + 1e-6 * (number % 50_000)
                shot = log.begin_shot(
                    series,
                    table=make_sequence(delay_s).to_table(board.info.clock_hz),
                    board=board.info,
                    port="benchmark",
                    release=number + 1,
                    rig=rig,
                    swept={"flash_delay_s": delay_s},
                )
                log.complete_shot(shot, perturb(record, draws), link=link)
            took = time.perf_counter() - began
            log._connection.execute("PRAGMA wal_checkpoint(TRUNCATE)")
            sizes.append((path.stat().st_size - before) / count)
            print(
                f"{count} shots {kind}: {sizes[-1]:.0f} bytes a shot, {1e3 * took / count:.2f} ms a shot"
            )
        scratch.close()


def main() -> None:
    shots = int(sys.argv[1]) if len(sys.argv) > 1 else 100_000
    with tempfile.TemporaryDirectory() as scratch:
        path = Path(sys.argv[2] if len(sys.argv) > 2 else scratch) / "shots.sqlite3"
        if not path.exists():
            fill(path, shots)
        with ShotLog.open(path, read_only=True) as log:
            newest = log.list_series(limit=1)[0].series
            edges = log._connection.execute("SELECT count(*) FROM edge").fetchone()[0]
            print(f"{log.count_shots()} shots, {edges} edges, {path.stat().st_size / 1e6:.0f} MB")
        os.environ["BEAMFALL_LOG"] = str(path)
        with compiled_once():
            for command in (
                "--version",
                "shots list",
                f"shots list --series {newest}",
                f"repeatability --series {newest}",
            ):
                print(f"beamfall {command:<30} {say_taken(time_command(*command.split()))}")


if __name__ == "__main__":
    main()
