"""The firmware on an emulated board, served on a socket: stage it, start it, take what the pins did.

The emulator is a script outside this project (see DEVELOPERS.md): BEAMFALL_EMULATOR names it, BEAMFALL_IMAGE the
MicroPython image that it boots, for an RP2040 or an RP2350. `python tests/board/emulated_board.py` measures and prints
a table.
"""

from __future__ import annotations

import argparse
import contextlib
import json
import os
import re
import shutil
import statistics
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from beamfall.board_tools.bundle import make_bundle
from beamfall.board_tools.image import read_image
from beamfall.setup.board_profiles import find_profile
from beamfall.setup.signals import Signal

SCENARIO = Path(__file__).with_name("emulated_rig.py")
ON_BOARD = Path(__file__).with_name("on_board")


def stage_firmware(
    folder: Path, image: Path, *, profile: str | None = None, around: str | None = None
) -> None:
    """Put the firmware into a folder, as `board install` puts it onto a board with this image.

    `profile`: take this one instead of the one for the image's machine. `around`: the name of a program in on_board/
    that becomes main.py; it finds the firmware's own as main_plain.
    """
    interpreter = read_image(image.read_bytes(), str(image))
    name = profile or interpreter.profile
    assert name is not None, f"no profile is for {image}"
    bundle = make_bundle(find_profile(name), interpreter.mpy)
    assert bundle.compiled, bundle.why
    for inside, content in bundle.files.items():
        target = folder / inside
        target.parent.mkdir(parents=True, exist_ok=True)
        target.write_bytes(content)
    if around is not None:
        (folder / "main.py").rename(folder / "main_plain.py")
        shutil.copy(ON_BOARD / f"{around}.py", folder / "main.py")


@dataclass
class EmulatedBoard:
    """A running emulation. `result` is filled when it has ended."""

    url: str
    result: dict[str, Any] = field(default_factory=dict)


@contextlib.contextmanager
def emulated_board(
    emulator: Path, image: Path, *, files: Path | None = None, profile: str | None = None, around: str | None = None,
    scenario: Path = SCENARIO, seconds: float = 600, pace: float = 1.0, **rig: Any,
) -> Iterator[EmulatedBoard]:  # fmt: skip
    """A board with this profile's firmware, or with `files`. A scenario takes `stop` and `ready` like the rig.

    `pace`: at most how many seconds may pass on the board in one of the host's.
    """
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        if files is None:
            files = folder / "files"
            stage_firmware(files, image, profile=profile, around=around)
        command = [sys.executable, str(emulator), "--image", str(image), "--files", str(files)]
        command += [
            "--script",
            str(scenario),
            "--tcp-port",
            "0",
            "--seconds-emulated",
            str(seconds),
        ]
        command += ["--json", str(folder / "result.json"), "--arg", f"stop={folder / 'stop'}"]
        command += ["--arg", f"ready={folder / 'ready'}"]
        command += ["--pace", str(pace)]
        for key, value in rig.items():
            command += ["--arg", f"{key}={value}"]
        process = subprocess.Popen(command, stderr=subprocess.PIPE, text=True)
        try:
            assert process.stderr is not None
            for line in process.stderr:
                found = re.search(r"socket://\S+", line)
                if found:
                    break
            else:
                raise RuntimeError("the emulator ended before it served the board")
            threading.Thread(target=process.stderr.read, daemon=True).start()
            # A hello has a byte 0x03 now and then, which ends an interpreter that has not started main.py. No computer
            # speaks so soon: it waits 0.1 s after a device was attached (USB 2.0, 7.1.7.3).
            while process.poll() is None and not (folder / "ready").exists():
                time.sleep(0.1)
            board = EmulatedBoard(found.group())
            try:
                yield board
            except BaseException as error:
                ended = end_emulation(process, folder)
                last = ended["transitions"][-12:]
                error.add_note(
                    f"the emulated board at {ended['emulated_s']} s: {ended['console'][-400:]!r}, {last}"
                )
                raise
            board.result.update(end_emulation(process, folder))
        finally:
            if process.poll() is None:
                process.terminate()
                process.wait(10)


def end_emulation(process: subprocess.Popen[str], folder: Path) -> dict[str, Any]:
    (folder / "stop").touch()
    process.wait(120)
    return dict(json.loads((folder / "result.json").read_text()))


# -- measuring -------------------------------------------------------------------------------------------------
DELAYS_S = {"flash1": 10e-6, "flash2": 1e-3, "flash3": 10e-3}
DROPS = 16
PERIOD_S = 0.025


def make_series() -> Any:
    """16 drops 25 ms apart; each flash follows each drop by its own delay."""
    from beamfall.setup.sequence import Row, Sequence

    rows = [Row("release", 0, "valve1", 0.002 + PERIOD_S * n, 0.001) for n in range(DROPS)]
    rows += [
        Row("beam1", n + 1, flash, delay, 0.0005)
        for n in range(DROPS)
        for flash, delay in DELAYS_S.items()
    ]
    return Sequence(rows=tuple(rows), window_s=1.0, tail_s=0.01, blanking_s=0.021)


def make_late() -> Any:
    """One drop; flashes 100 and 500 ms after it."""
    from beamfall.setup.sequence import Row, Sequence

    rows = (
        Row("release", 0, "valve1", 0.002, 0.001),
        Row("beam1", 1, "flash1", 0.1, 0.0005),
        Row("beam1", 1, "flash2", 0.5, 0.0005),
    )
    return Sequence(rows=rows, window_s=0.1, tail_s=0.01, blanking_s=0.015)


def measure(
    emulator: Path, image: Path, *, shots: int, late_shots: int, load: bool
) -> dict[str, Any]:
    """Edge-to-flash errors in ns by delay, release rows' errors, lost edges, and how the board answered."""
    from beamfall.board import Board
    from beamfall.link.session import LinkTiming

    plans: list[tuple[int, Any]] = []
    lost = 0
    stamp_errors: list[float] = []
    with emulated_board(emulator, image, around="loaded" if load else None) as emulated:
        with Board.connect(emulated.url, timing=LinkTiming(first_s=10, longest_s=60)) as board:
            hz = board.info.clock_hz
            for number in range(shots + late_shots):
                sequence = make_series() if number < shots else make_late()
                ticket = board.arm(sequence)
                board.release(ticket)
                if load:
                    while board.status().activity.name == "shot":
                        pass
                outcome = board.wait_for(ticket)
                board.settle()
                assert outcome.done.state.name == "fired", outcome.done
                lost += outcome.done.edges_lost
                plans.append((number, outcome))
                print(f"shot {number}: {outcome.done.edges} edges", file=sys.stderr, flush=True)
            status = board.status()
        url_result = emulated
    result = url_result.result
    names = {int(pin): signal for pin, signal in result["scenario"]["outputs"].items()}
    beam_pin = next(int(p) for p, s in result["scenario"]["inputs"].items() if s == 9)
    return analyse(result, names, beam_pin, plans, shots, hz) | {
        "edges_lost": lost, "stamp_errors": stamp_errors, "frames_bad": status.frames_bad,
        "frames_good": status.frames_good, "speed": result["speed"], "cycle_ns": 1e9 / hz,
    }  # fmt: skip


def analyse(
    result: dict[str, Any],
    names: dict[int, int],
    beam_pin: int,
    plans: list[Any],
    shots: int,
    hz: int,
) -> dict[str, Any]:
    """Compare what the pins did with what was asked, on the emulator's own clock."""
    zeros = [t for t, g, v, _ in result["transitions"] if g == 20 and v == 1]
    zeros = zeros[-len(plans) :]
    errors: dict[str, list[float]] = {}
    release: list[float] = []
    stamps: list[float] = []
    ends = [*zeros[1:], float("inf")]
    for (number, outcome), zero, end in zip(plans, zeros, ends, strict=True):
        inside = [(t, g, v) for t, g, v, _ in result["transitions"] if zero <= t < end]
        darks = [t for t, g, v in inside if g == beam_pin and v == 1]
        asked = DELAYS_S if number < shots else {"flash1": 0.1, "flash2": 0.5}
        for flash, delay in asked.items():
            pin = next(p for p, s in names.items() if s == Signal.of(flash))
            ons = [t for t, g, v in inside if g == pin and v == 1]
            assert len(ons) == len(darks), (flash, len(ons), len(darks))
            errors.setdefault(f"{delay * 1e3:g} ms", []).extend(
                on - dark - delay * 1e9 for on, dark in zip(ons, darks, strict=True)
            )
        valve = next(p for p, s in names.items() if s == 1)
        planned = [0.002 + PERIOD_S * n for n in range(DROPS)] if number < shots else [0.002]
        valves = [t for t, g, v in inside if g == valve and v == 1]
        release.extend(t - zero - 1e9 * at for t, at in zip(valves, planned, strict=True))
        seen = [e.ticks for e in outcome.edges if e.signal.name == "beam1" and e.level == 1]
        stamps.extend(1e9 * s / hz - (t - zero) for s, t in zip(seen, darks, strict=True))
    return {
        "edge_to_flash": errors,
        "release_rows": release,
        "stamps": stamps,
        "boot_ns": result["usb_ready_ns"],
    }


def print_table(title: str, found: dict[str, Any]) -> None:
    print(
        f"{title}: {found['edges_lost']} edges lost, {found['frames_good']} frames taken, "
        f"{found['frames_bad']} bad, x{found['speed']} of life"
    )
    lines = {f"edge to flash, {k}": v for k, v in found["edge_to_flash"].items()}
    lines |= {"rows at the release": found["release_rows"], "stamps of the beam": found["stamps"]}
    for name, values in lines.items():
        spread = max(values) - min(values)
        print(
            f"  {name:24} n {len(values):4}  min {min(values):8.1f}  median {statistics.median(values):8.1f}"
            f"  max {max(values):8.1f}  spread {spread:6.1f} ns"
        )


def main() -> None:
    parser = argparse.ArgumentParser(description="Measure the rp2 port on an emulated board.")
    parser.add_argument("--emulator", type=Path, default=os.environ.get("BEAMFALL_EMULATOR"))
    parser.add_argument("--image", type=Path, default=os.environ.get("BEAMFALL_IMAGE"))
    parser.add_argument("--shots", type=int, default=13)
    parser.add_argument("--late-shots", type=int, default=5)
    parser.add_argument("--only", choices=["idle", "load"])
    options = parser.parse_args()
    if not options.emulator or not options.image:
        parser.error("BEAMFALL_EMULATOR and BEAMFALL_IMAGE, or --emulator and --image, are needed")
    for title in [options.only] if options.only else ["idle", "load"]:
        begun = time.monotonic()
        found = measure(
            Path(options.emulator), Path(options.image), shots=options.shots, late_shots=options.late_shots,
            load=title == "load",
        )  # fmt: skip
        print_table(title, found)
        print(f"  ({time.monotonic() - begun:.0f} s)")


if __name__ == "__main__":
    main()
