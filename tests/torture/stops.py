"""Signals at random moments of every command, at boards that behave and boards that do not.

    python tests/torture/stops.py --runs 1000 --seed 1

Each run starts a command in a process of its own at a served simulated board, sends it SIGINT, SIGTERM or SIGHUP
at a random moment, and looks at: exit status, time to the end, words (no traceback), outputs off and the board idle
where the line still carries a frame, nothing released later, no child process, no temporary folder, and a log that can
be read and knows every opening. Prints a line for each finding and a summary; status 1 when there is a finding other
than a late end. How long an end took depends on the machine: it is printed and not judged here.
"""

from __future__ import annotations

import argparse
import contextlib
import os
import random
import signal
import statistics
import subprocess
import sys
import tempfile
import time
from collections import Counter
from dataclasses import dataclass, field
from pathlib import Path

TESTS = Path(__file__).resolve().parents[1]
sys.path[:0] = [str(TESTS / "torture"), str(TESTS.parent / "host")]

from command_line import unmeasured  # noqa: E402
from odd_board import MODES, OddBoard  # noqa: E402
from PIL import Image  # noqa: E402

from beamfall.board import Board  # noqa: E402
from beamfall.photos.camera import VIRTUAL  # noqa: E402
from beamfall.setup.sequence import Row, Sequence  # noqa: E402
from beamfall.shots import ShotLog  # noqa: E402
from beamfall.shots.record import NOT_RELEASED  # noqa: E402

BEAMFALL = (sys.executable, "-m", "beamfall")
COMMANDS = (
    "shoot --count 50",
    "shoot --count 50 --json",
    "shoot --count 50 --camera usb",
    "shoot --count 50 --photos .",
    "sweep --of flash --from 180ms --to 190ms --step 1ms",
    "seek",
    "calibrate --count 30",
    "drip",
    "rinse --duration 4s --yes",
    "flash",
    "beam --quiet",
    "check",
    "page --no-browser",
    "board info",
    "board slots list",
)
WITHOUT_BOARD = (
    "plan",
    "shots list",
    "shots export --out all.csv",
    "repeatability",
    "report --out report",
)
SIGNALS = {"SIGINT": 130, "SIGTERM": 143, "SIGHUP": 129}  # 128 + n, as shells have it
_TIRING = Sequence(
    rows=tuple(Row("release", 0, "valve1", 0.1 + 0.2 * number, 0.19) for number in range(10)),
    window_s=0.0,
    blanking_s=0.0,
)


@dataclass
class Tally:
    """What was seen in all runs."""

    ended_s: list[float] = field(default_factory=list)
    statuses: Counter[str] = field(default_factory=Counter)
    findings: list[str] = field(default_factory=list)


def run_one(number: int, seed: int, tally: Tally, program: tuple[str, ...] = BEAMFALL) -> None:
    """One command, one board, one signal."""
    draws = random.Random(f"stops {seed} {number}")
    name = draws.choice(tuple(SIGNALS))
    # A third of them while the program is still loading.
    moment_s = draws.uniform(0.0, 0.3 if draws.random() < 0.33 else 3.0)
    alone = draws.random() < 0.15
    command = draws.choice(WITHOUT_BOARD if alone else COMMANDS)
    mode = "none" if alone else draws.choice(tuple(MODES))
    label = f"run {number}: {command!r} at a board that is {mode!r}, {name} after {moment_s:.2f} s"
    with (
        tempfile.TemporaryDirectory() as folder,
        OddBoard(mode, draws.uniform(0.0, 2.5), number) as board,
    ):
        place = Path(folder)
        (place / "tmp").mkdir()
        log = place / "shots.sqlite3"
        if mode == "tired":
            with Board.connect(board.url) as before:
                before.shoot(_TIRING)
        openings = board.valve_openings
        port = [] if alone else ["--port", board.url]
        environment = {**unmeasured(), "BEAMFALL_LOG": str(log), "TMPDIR": str(place / "tmp")}
        environment[VIRTUAL] = str(_fill_card(place / "card"))
        process = subprocess.Popen(
            [*program, *command.split(), *port],
            cwd=place, env=environment, text=True, start_new_session=True,
            stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.STDOUT,
            preexec_fn=_heed_all,
        )  # fmt: skip
        time.sleep(moment_s)
        finished = process.poll() is not None
        sent = time.monotonic()
        process.send_signal(getattr(signal, name))
        try:
            said = process.communicate(timeout=30.0)[0]
        except subprocess.TimeoutExpired:
            process.kill()
            said = process.communicate()[0]
            tally.findings.append(f"{label}: still running after 30 s")
        if not finished:
            tally.ended_s.append(time.monotonic() - sent)
            tally.statuses[str(process.returncode)] += 1
        for finding in _look(process, finished, name, said, board, place, log, openings):
            tally.findings.append(f"{label}: {finding}\n    {said.strip()[-600:]!r}")


def _heed_all() -> None:
    """Whoever runs this in the background, or by nohup, has its children ignore signals."""
    for name in SIGNALS:
        signal.signal(getattr(signal, name), signal.SIG_DFL)


def _look(
    process: subprocess.Popen[str],
    finished: bool,
    name: str,
    said: str,
    board: OddBoard,
    place: Path,
    log: Path,
    openings: int,
) -> list[str]:
    """What is wrong after the end of a process, in words."""
    found = []
    loading = "Traceback" in said and "/beamfall/" not in said  # Python itself was still starting
    allowed = {SIGNALS[name], -getattr(signal, name), 0, 1, 2}
    if process.returncode not in allowed:
        found.append(f"status {process.returncode}")
    if "Traceback" in said and not loading:
        found.append("a traceback")
    if "fault of the program" in said:
        found.append("called a fault of the program")
    try:
        os.killpg(process.pid, 0)
        found.append("a process is left")
        os.killpg(process.pid, signal.SIGKILL)
    except ProcessLookupError:
        pass
    if _find_camera_process(place):
        found.append("the process that talks to the camera is left")
    left = [file.name for file in (place / "tmp").iterdir()]
    if left:
        found.append(f"left behind: {left}")
    before = board.valve_openings
    if board.carries_frames and not finished:
        if board.on:
            found.append(f"outputs on: {board.on}")
        time.sleep(0.5)  # the board's time passes many times faster: a minute and more
        if board.valve_openings != before:
            found.append(f"{board.valve_openings - before} openings after the end")
    if log.exists():
        with ShotLog.open(log, read_only=True) as opened:
            found += _check_log(opened, board.valve_openings - openings)
    return found


def _fill_card(card: Path) -> Path:
    """The card of libgphoto2's virtual camera."""
    folder = card / "DCIM" / "100TESTS"
    folder.mkdir(parents=True)
    Image.new("RGB", (64, 48)).save(folder / "IMG_0001.JPG")
    return card


def _find_camera_process(place: Path) -> bool:
    """Whether one of this run lives; it ends by itself within a moment of its program."""
    for _ in range(20):
        lines = []
        for file in Path("/proc").glob("[0-9]*/cmdline"):
            with contextlib.suppress(OSError):
                lines.append(file.read_bytes().decode(errors="replace"))
        if not any("camera_process" in line and str(place) in line for line in lines):
            return False
        time.sleep(0.1)
    return True


def _check_log(log: ShotLog, openings: int) -> list[str]:
    """Whether the log agrees with what the rig has seen; an action that is no shot has no line in it."""
    least = most = 0
    for shot in log.list_shots(limit=None):
        if shot.shown_state == "":
            return ["a shot without a state"]
        table = log.read_shot(shot.shot).table
        planned = sum(row.output == "valve1" for row in table.rows)
        least += planned if shot.shown_state == "fired" else 0
        most += planned if shot.shown_state != NOT_RELEASED else 0
    if log.list_series(limit=1) and not least <= openings <= most:
        return [f"{openings} openings, and by the log {least} to {most}"]
    return []


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__.partition("\n")[0])
    parser.add_argument("--runs", type=int, default=1000)
    parser.add_argument("--seed", type=int, default=1)
    args = parser.parse_args()
    tally = Tally()
    for number in range(args.runs):
        known = len(tally.findings)
        run_one(number, args.seed, tally)
        for finding in tally.findings[known:]:
            print(finding, flush=True)
        if (number + 1) % 50 == 0:
            print(f"{number + 1} of {args.runs}, {len(tally.findings)} findings", flush=True)
    within = sum(ended <= 2.0 for ended in tally.ended_s)
    print(
        f"{args.runs} signals, {len(tally.ended_s)} met a running command; {within} of them ended within 2 s, "
        f"median {statistics.median(tally.ended_s):.2f} s, longest {max(tally.ended_s):.2f} s; "
        f"statuses {dict(tally.statuses)}; {len(tally.findings)} findings"
    )
    return 1 if tally.findings else 0


if __name__ == "__main__":
    sys.exit(main())
