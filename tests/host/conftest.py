"""What several tests of the host need."""

from __future__ import annotations

import os
import subprocess
import sys
from collections.abc import Iterator
from dataclasses import fields
from pathlib import Path
from typing import Any

import pytest
from needs import need_micropython

from beamfall.board_tools.prompt import Prompt
from beamfall.link.welcome import Welcome
from beamfall.setup.limits import BoardLimits
from beamfall.setup.signals import Signal
from beamfall.shots import ShotLog
from beamfall.wire import get_definition


@pytest.fixture
def welcome() -> Welcome:
    """The welcome of a board with the limits that BoardLimits has by default."""
    definition = get_definition()
    limits = BoardLimits()
    signals = Signal
    values: dict[str, Any] = {field.name: 0 for field in fields(Welcome)}
    values |= {name: getattr(limits, name) for name in limits.__dataclass_fields__}
    values |= {
        "outputs": sum(1 << signals[name] for name in limits.outputs),
        "inputs": sum(1 << signals[name] for name in limits.inputs),
        "protocol": definition.protocol,
        "definition": definition.digest,
        "firmware_minor": 1,
        "boot_id": 0x5EED,
        "unique_id": b"invented",
        "timing": definition.enum("timing")["simulated"],
        "state": definition.enum("state")["idle"],
        "cause": definition.enum("cause")["none"],
    }
    return Welcome(**values)


# -- a MicroPython interpreter at a port -----------------------------------------------------------
@pytest.fixture
def files(tmp_path: Path) -> Path:
    """The file system of the interpreter's board."""
    folder = tmp_path / "files"
    folder.mkdir()
    return folder


@pytest.fixture
def lines() -> Iterator[tuple[int, str]]:
    """A pseudo-terminal: the board's end and the name of the host's."""
    if sys.platform == "win32":
        pytest.skip("needs pseudo-terminals, which Windows lacks")
    import tty

    master, slave = os.openpty()
    tty.setraw(slave)
    yield master, os.ttyname(slave)
    os.close(slave)


@pytest.fixture
def interpreter(files: Path, lines: tuple[int, str]) -> Iterator[subprocess.Popen[bytes]]:
    need_micropython()
    master, _ = lines
    process = subprocess.Popen(
        [sys.executable, "-m", "micropython_unix"],
        stdin=master,
        stdout=master,
        stderr=master,
        cwd=files,
    )
    os.close(master)
    yield process
    process.kill()
    process.wait()


@pytest.fixture
def port(lines: tuple[int, str], interpreter: subprocess.Popen[bytes]) -> str:
    """The port at which the interpreter's prompt is."""
    return lines[1]


@pytest.fixture
def prompt(port: str) -> Iterator[Prompt]:
    from beamfall.board_tools.install import open_prompt

    prompt = open_prompt(port)
    yield prompt
    prompt.close()


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "deep" / "shots.sqlite3"


@pytest.fixture
def log(path: Path) -> Iterator[ShotLog]:
    with ShotLog.open(path) as opened:
        yield opened
