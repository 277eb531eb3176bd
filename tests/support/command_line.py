"""The command line, called in the process of the tests: the start of Python costs more than most commands.

A process of its own is for tests of signals, pipes, terminals and of what is imported at the start.
"""

from __future__ import annotations

import contextlib
import io
import os
import subprocess
import sys
import time
from collections.abc import Iterator, Mapping
from pathlib import Path
from unittest import mock

from beamfall.cli import main

# The program in a process of its own. A busy machine may take more than STOP_S for a stop; that limit has its own test.
BEAMFALL = [
    sys.executable,
    "-c",
    "from beamfall.__main__ import run; from beamfall import interrupts; interrupts.STOP_S = 60.0; run()",
]


def unmeasured() -> dict[str, str]:
    """The environment without coverage, whose start in a program mistakes an interrupt for a missing module."""
    return {name: value for name, value in os.environ.items() if not name.startswith("COVERAGE_")}


def run_cli(
    *arguments: object,
    folder: Path | None = None,
    environment: Mapping[str, str] | None = None,
    typed: str = "",
) -> subprocess.CompletedProcess[str]:
    """Run `beamfall ARGUMENTS`; return its status, output and errors.

    `folder` is the current one for the command, `environment` its whole environment; `typed` is its standard input,
    which then ends.
    """
    words = [str(argument) for argument in arguments]
    out, errors = _make_stream(), _make_stream()
    with (
        contextlib.chdir(folder or Path.cwd()),
        _environment(os.environ if environment is None else environment),
        mock.patch.object(sys, "stdin", io.StringIO(typed)),
        contextlib.redirect_stdout(out),
        contextlib.redirect_stderr(errors),
    ):
        status = main(words)
    return subprocess.CompletedProcess(["beamfall", *words], status, _read(out), _read(errors))


def run_checked(
    *arguments: object, status: int = 0, typed: str = ""
) -> subprocess.CompletedProcess[str]:
    """Run `beamfall ARGUMENTS` as `run_cli` does; it must end with that status and print no traceback."""
    done = run_cli(*arguments, typed=typed)
    assert done.returncode == status, done.stdout + done.stderr
    assert "Traceback" not in done.stderr
    return done


@contextlib.contextmanager
def _environment(values: Mapping[str, str]) -> Iterator[None]:
    with mock.patch.dict(os.environ, dict(values), clear=True):
        _take_time_zone()
        yield
    _take_time_zone()


def _take_time_zone() -> None:
    if sys.platform != "win32":  # there it is not taken from TZ
        time.tzset()


def _make_stream() -> io.TextIOWrapper:
    return io.TextIOWrapper(io.BytesIO(), encoding="utf-8", write_through=True)


def _read(stream: io.TextIOWrapper) -> str:
    stream.seek(0)
    return stream.read()
