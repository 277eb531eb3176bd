"""Signals at random moments of every command, at boards that behave and boards that do not.

    python tests/torture/stops.py --runs 1000 --seed 1

Each run starts a command in a process of its own at a served simulated board, sends it SIGINT, SIGTERM or SIGHUP
at a random moment, and looks at: exit status, time to the end, words (no traceback; what could not be confirmed),
outputs off and the board idle where the line still carries a frame, nothing released later, no child process, no
temporary folder, and a log that can be read, still has the shots it had, and knows every opening. Several run at once
(`--jobs`), each in its own folder.
Prints a line for each finding, one for each command, and a summary; status 1 when there is a finding other than a late
end. How long an end took depends on the machine: it is printed and not judged here.
"""

from __future__ import annotations

import argparse
import contextlib
import os
import random
import shutil
import signal
import statistics
import subprocess
import sys
import tempfile
import time
from collections import Counter
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from functools import partial
from pathlib import Path

TESTS = Path(__file__).resolve().parents[1]
sys.path[:0] = [str(TESTS / "torture"), str(TESTS / "support"), str(TESTS.parent / "host")]

from command_line import unmeasured  # noqa: E402
from filled_folder import LOG, SHOTS, fill_folder  # noqa: E402
from odd_board import MODES, OddBoard  # noqa: E402

from beamfall.board import Board  # noqa: E402
from beamfall.errors import BeamfallError  # noqa: E402
from beamfall.fault_report import BUG  # noqa: E402
from beamfall.photos.camera import VIRTUAL  # noqa: E402
from beamfall.setup.sequence import Row, Sequence  # noqa: E402
from beamfall.shots import ShotLog  # noqa: E402
from beamfall.shots.record import NOT_RELEASED  # noqa: E402

BEAMFALL = (sys.executable, "-m", "beamfall")
# What talks to a board; `filled_folder.py` makes what they read.
COMMANDS = (
    "shoot --count 50",
    "shoot --count 50 --json",
    "shoot --count 50 --camera usb",
    "shoot --count 50 --photos .",
    "sweep --of flash --from 180ms --to 190ms --step 1ms",
    "seek",
    "shoot rig.toml --sequence sequence.toml --count 50",
    "calibrate --count 30",
    "calibrate camera --flash 1s --count 30",
    "drip",
    "rinse --duration 4s --yes",
    "flash",
    "beam --quiet",
    "check",
    "page --no-browser",
    "page --no-browser --tls",
    "recipe shoot umbrella --rig rig.toml --count 50",
    "recipe shoot umbrella --as-then --count 50",
    "recipe store umbrella --slot 1",
    "sequence check sequence.toml",
    "shots fetch",
    "shots repeat 1",
    "board info",
    "board limits",
    "board slots list",
    "board slots card card.html",
    "board slots save 1 --sequence sequence.toml",
    "board slots load 1",
    "board slots erase 1",
    "board slots choose 1",
    "board backup kept.zip",
    "board restore board.zip",
    "board install",
    "board measure --yes",
    "board test --yes",
)
WITHOUT_BOARD = (
    "plan",
    "plan rig.toml --plot plan.png",
    "ports",
    "rig new new.toml",
    "rig check rig.toml",
    "rig keys",
    "learned show rig.toml",
    "learned undo rig.toml",
    "learned redo rig.toml",
    "learned reset rig.toml",
    "recipe save again --shot 1",
    "recipe list",
    "recipe show umbrella",
    "recipe rename umbrella other",
    "recipe remove umbrella",
    "recipe use shared.recipe.zip --rig rig.toml --sequence s.toml",
    "recipe share umbrella other.recipe.zip",
    "recipe sheet umbrella sheet.html",
    "board image micropython.uf2",
    "photos measure photos/IMG_1.JPG",
    "shots where",
    "shots list",
    "shots show 1 --plot shot.png",
    "shots note 1 invented",
    "shots rate 1 4",
    "shots picture 1 photos/IMG_1.JPG",
    "shots export --out all.csv",
    "shots match photos",
    "shots catalogue",
    "shots mend --out mended.sqlite3",
    "shots sheet --out sheet.html",
    "repeatability",
    "report --out report",
    "help",
)
SERIES = ("shoot", "sweep", "calibrate")
SIGNALS = {"SIGINT": 130, "SIGTERM": 143, "SIGHUP": 129}  # 128 + n, as shells have it
_LATE_S = 2.0
_ALONE_EVERY = 4  # one run in 4 is of a command without a board
_MET_S = 20.0  # until a command has connected to its board, at most
_TIRING = Sequence(
    rows=tuple(Row("release", 0, "valve1", 0.1 + 0.2 * number, 0.19) for number in range(10)),
    window_s=0.0,
    blanking_s=0.0,
)


@dataclass(frozen=True)
class Seen:
    """What was seen in one run. `ended_s` is from the signal to the end; None where the command ended before it."""

    label: str
    command: str
    ended_s: float | None
    status: int
    findings: list[str]


def run_one(
    number: int, seed: int, filled: Path, load_s: float, program: tuple[str, ...] = BEAMFALL
) -> Seen:
    """One command, one board, one signal; in a copy of the folder `filled`. The program takes `load_s` to load."""
    draws = random.Random(f"stops {seed} {number}")
    name = draws.choice(tuple(SIGNALS))
    is_early = draws.random() < 0.33  # while the program is still loading
    # Short commands are met early or not at all, long ones at any moment.
    late_s = 3.0 * draws.random() ** draws.choice((1, 3))
    command, mode = deal(number, seed)
    alone = mode == "none"
    if alone and not is_early:
        late_s = load_s * draws.uniform(0.5, 1.2)  # most end soon after they are loaded
    moment_s = load_s * draws.random() if is_early else late_s
    label = f"run {number}: {command!r} at a board that is {mode!r}, {name} after {moment_s:.2f} s"
    label += "" if is_early or alone else " of its work"
    with (
        tempfile.TemporaryDirectory() as folder,
        OddBoard(mode, draws.uniform(0.0, 2.5), number) as board,
    ):
        place = Path(folder) / "work"
        shutil.copytree(filled, place)
        (place / "tmp").mkdir()
        if mode == "tired":
            with Board.connect(board.url) as before:
                before.shoot(_TIRING)
        openings = board.valve_openings
        board.is_met.clear()
        port = [] if alone else ["--port", board.url]
        environment = {
            **unmeasured(), "BEAMFALL_LOG": str(place / LOG), "TMPDIR": str(place / "tmp"), "HOME": str(place),
            VIRTUAL: str(place / "card"),
        }  # fmt: skip
        process = subprocess.Popen(
            [*program, *command.split(), *port],
            cwd=place, env=environment, text=True, start_new_session=True,
            stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.STDOUT,
            preexec_fn=_heed_all,
        )  # fmt: skip
        if not is_early and not alone:
            board.is_met.wait(_MET_S)
        time.sleep(moment_s)
        finished = process.poll() is not None
        # Series go on for long: one that has opened a valve cannot know how a deaf board stands.
        unsure = board.is_deaf and board.valve_openings > openings and command.startswith(SERIES)
        sent = time.monotonic()
        process.send_signal(getattr(signal, name))
        findings = []
        try:
            said = process.communicate(timeout=30.0)[0]
        except subprocess.TimeoutExpired:
            os.killpg(process.pid, signal.SIGKILL)
            said = process.communicate()[0]
            findings.append("still running after 30 s")
        ended_s = None if finished else time.monotonic() - sent
        if unsure and process.returncode in SIGNALS.values() and "confirm" not in said:
            findings.append("does not say that it could not confirm the outputs off")
        findings += _look(process, finished, name, said, board, place, openings)
    words = f"\n    {said.strip()[-600:]!r}"
    return Seen(
        label, command, ended_s, process.returncode, [f"{label}: {one}{words}" for one in findings]
    )


def deal(number: int, seed: int) -> tuple[str, str]:
    """Return the command of a run and how its board behaves: all in turn, each at each kind of board."""
    turn, place = divmod(number, _ALONE_EVERY)
    if place == 0:
        return WITHOUT_BOARD[(turn + seed) % len(WITHOUT_BOARD)], "none"
    rounds, at = divmod(turn * (_ALONE_EVERY - 1) + place - 1 + seed, len(COMMANDS))
    return COMMANDS[at], tuple(MODES)[(rounds + at) % len(MODES)]


def measure_loading(jobs: int = 1) -> float:
    """Return how long a command without a board takes here, seconds, with as many at once."""
    began = time.monotonic()
    for process in [
        subprocess.Popen([*BEAMFALL, "ports"], stdout=subprocess.DEVNULL) for _ in range(jobs)
    ]:
        process.wait()
    return time.monotonic() - began


def _heed_all() -> None:
    """A shell that starts this in the background, or nohup, makes its children ignore signals."""
    for name in SIGNALS:
        signal.signal(getattr(signal, name), signal.SIG_DFL)


def _look(
    process: subprocess.Popen[str],
    finished: bool,
    name: str,
    said: str,
    board: OddBoard,
    place: Path,
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
    if BUG in said:
        found.append("called a bug in Beamfall")
    try:
        os.killpg(process.pid, 0)
        found.append("a process is left")
        os.killpg(process.pid, signal.SIGKILL)
    except ProcessLookupError:
        pass
    if _find_camera_process(place):
        found.append("the process that talks to the camera is left")
    left = [file.name for file in (*(place / "tmp").iterdir(), *place.rglob(".beamfall-*"))]
    if left:
        found.append(f"left behind: {left}")
    if board.carries_frames and not finished:
        board.wait_until_left()
        before = board.valve_openings
        if board.on:
            found.append(f"outputs on: {board.on}")
        time.sleep(0.3)  # the board's time passes many times faster: half a minute and more
        if board.valve_openings != before:
            found.append(f"{board.valve_openings - before} openings after the end")
    try:
        with ShotLog.open(place / LOG, read_only=True) as opened:
            found += _check_log(opened, board.valve_openings - openings)
    except BeamfallError as error:
        found.append(f"the log: {error}")
    return found


def _find_camera_process(place: Path) -> bool:
    """Whether a process of this run is alive; it ends by itself a moment after its program."""
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
    """Whether the log agrees with what the rig has seen; an action that is not a shot has no line in it."""
    least = most = 0
    shots = log.list_shots(limit=None)
    if not {*range(1, SHOTS + 1)} <= {shot.shot for shot in shots}:
        return ["a shot that the log had is gone"]
    for shot in shots:
        if shot.shot <= SHOTS:
            continue
        if shot.shown_state == "":
            return ["a shot without a state"]
        table = log.read_shot(shot.shot).table
        planned = sum(row.output == "valve1" for row in table.rows)
        least += planned if shot.shown_state == "fired" else 0
        most += planned if shot.shown_state != NOT_RELEASED else 0
    if len(log.list_series(limit=None)) > SHOTS and not least <= openings <= most:
        return [f"{openings} openings, and by the log {least} to {most}"]
    return []


def _count(command: str, seen: list[Seen]) -> str:
    """A line of the table: signals sent, signals that met the running command, and commands that ended in time."""
    ended = [one.ended_s for one in seen if one.ended_s is not None]
    findings = sum(len(one.findings) for one in seen)
    return (
        f"{command:66} {len(seen):3} signals, {len(ended):3} met it running, "
        f"{sum(one <= _LATE_S for one in ended):3} ended within {_LATE_S:g} s, "
        f"longest {max(ended, default=0.0):.2f} s, {findings} findings"
    )


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__.partition("\n")[0])
    parser.add_argument("--runs", type=int, default=1000)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument(
        "--jobs", type=int, default=2 * (os.cpu_count() or 1), help="how many at once"
    )
    args = parser.parse_args()
    began = time.monotonic()
    seen: list[Seen] = []
    with tempfile.TemporaryDirectory() as folder, ProcessPoolExecutor(args.jobs) as pool:
        fill_folder(Path(folder))
        work = partial(
            run_one, seed=args.seed, filled=Path(folder), load_s=measure_loading(args.jobs)
        )
        for one in pool.map(work, range(args.runs)):
            seen.append(one)
            for finding in one.findings:
                print(finding, flush=True)
            if one.ended_s is not None and one.ended_s > _LATE_S:
                print(f"late: {one.label}: {one.ended_s:.2f} s", flush=True)
            if len(seen) % 50 == 0:
                found = sum(len(one.findings) for one in seen)
                print(f"{len(seen)} of {args.runs}, {found} findings", flush=True)
    for command in (*COMMANDS, *WITHOUT_BOARD):
        print(_count(command, [one for one in seen if one.command == command]))
    ended = [one.ended_s for one in seen if one.ended_s is not None]
    findings = sum(len(one.findings) for one in seen)
    print(
        f"{args.runs} signals in {time.monotonic() - began:.0f} s, {len(ended)} met a running command; "
        f"{sum(one <= _LATE_S for one in ended)} of them ended within {_LATE_S:g} s, "
        f"median {statistics.median(ended):.2f} s, longest {max(ended):.2f} s; "
        f"statuses {dict(Counter(str(one.status) for one in seen if one.ended_s is not None))}; {findings} findings"
    )
    return 1 if findings else 0


if __name__ == "__main__":
    sys.exit(main())
