"""A program leaves no temporary folder and no simulated board's process behind, however it ends."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path

import pytest
from needs import need_micropython
from tiers import in_full

from beamfall.board import Board
from beamfall.cli import main
from beamfall.setup.sequence import Row, Sequence

SEQUENCE = Sequence(rows=(Row("release", 0, "valve1", 0.01, 0.01),))
# Saves a slot, says who runs the firmware, and waits to be ended.
HOLDER = """
import sys, time
from beamfall.board import Board
from beamfall.interrupts import StopSignals
from beamfall.setup.sequence import Row, Sequence

with StopSignals(), Board.connect(sys.argv[1]) as board:
    board.upload(Sequence(rows=(Row("release", 0, "valve1", 0.01, 0.01),)))
    board.save_slot(1)
    process = getattr(board.transport, "_process", None)
    print(0 if process is None else process.pid, flush=True)
    time.sleep(120.0)
"""


@pytest.fixture
def scratch(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Path]:
    """The folder for temporary files, of this process and of those it starts."""
    monkeypatch.setenv("TMPDIR", str(tmp_path))
    monkeypatch.setattr("tempfile.tempdir", None)
    yield tmp_path


def hold(port: str, code: str = HOLDER) -> tuple[subprocess.Popen[str], int]:
    """A program with an open port and a slot in use, and the process of its firmware (0: its own)."""
    program = subprocess.Popen(
        [sys.executable, "-c", code, port], stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, text=True
    )  # fmt: skip
    assert program.stdout is not None
    return program, int(program.stdout.readline())


def end(program: subprocess.Popen[str], number: int) -> None:
    program.send_signal(number)
    program.wait(30.0)
    assert program.stdout is not None
    program.stdout.close()


def has_ended(process: int) -> bool:
    for _ in range(200):
        try:
            os.kill(process, 0)
        except ProcessLookupError:
            return True
        time.sleep(0.05)
    return False


def test_nothing_is_on_disk_until_a_slot_is_saved(scratch: Path) -> None:
    with Board.connect("sim") as board:
        board.upload(SEQUENCE)
        assert list(scratch.iterdir()) == []
        board.save_slot(1)
        assert len(list(scratch.iterdir())) == 1
    assert list(scratch.iterdir()) == []


@pytest.mark.parametrize("number", [signal.SIGINT, *in_full(signal.SIGTERM, signal.SIGHUP)])
def test_a_signal_leaves_neither_folder_nor_process(scratch: Path, number: int) -> None:
    need_micropython()
    program, firmware = hold("sim:micropython")
    assert len(list(scratch.iterdir())) == 1
    end(program, number)
    assert list(scratch.iterdir()) == []
    assert has_ended(firmware)


def test_the_next_start_removes_what_a_killed_program_left_and_nothing_else(scratch: Path) -> None:
    alive, _ = hold("sim")
    kept = set(scratch.iterdir())
    killed, _ = hold("sim")
    end(killed, signal.SIGKILL)
    assert len(set(scratch.iterdir())) == 2
    with Board.connect("sim"):
        assert set(scratch.iterdir()) == kept
    end(alive, signal.SIGTERM)
    assert list(scratch.iterdir()) == []


@pytest.mark.full
def test_a_killed_program_takes_its_interpreter_with_it(scratch: Path) -> None:
    need_micropython()
    killed, firmware = hold("sim:micropython")
    end(killed, signal.SIGKILL)
    assert has_ended(firmware)
    with Board.connect("sim"):
        assert list(scratch.iterdir()) == []


# Stops in the middle of work that has a temporary folder, and waits to be ended.
STUCK = {
    "sheet": """
import sys, time
import beamfall.photos.find as find
from beamfall.cli import main

def wait(file, width):
    print(0, flush=True)
    time.sleep(120.0)

find.make_thumbnail = wait
main(["shots", "sheet", "--out", sys.argv[1]])
""",
    "compiler": """
import time
import beamfall.board_tools.bundle as bundle
from beamfall.setup.board_profiles import find_profile

class Compiler:
    def compile(self, path, inside, scratch):
        (scratch / "out.mpy").write_bytes(b"M")
        print(0, flush=True)
        time.sleep(120.0)

bundle.find_compiler = lambda mpy: (Compiler(), "")
bundle.make_bundle(find_profile("simulated"), 6)
""",
}


@pytest.mark.parametrize("work", ["compiler", *in_full("sheet")])
def test_the_next_command_removes_what_a_killed_one_left(
    work: str, scratch: Path, tmp_path_factory: pytest.TempPathFactory, monkeypatch: pytest.MonkeyPatch
) -> None:  # fmt: skip
    place = tmp_path_factory.mktemp("log")
    monkeypatch.setenv("BEAMFALL_LOG", str(place / "shots.sqlite3"))
    sheet = str(place / "sheet.html")
    assert main(["shoot", "--port", "sim"]) == 0
    killed, _ = hold(sheet, STUCK[work])
    end(killed, signal.SIGKILL)
    assert len(list(scratch.iterdir())) == 1
    assert main(["shots", "sheet", "--out", sheet]) == 0
    assert list(scratch.iterdir()) == []
