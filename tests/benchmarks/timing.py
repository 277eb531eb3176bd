"""How long a command takes, as a program of its own."""

from __future__ import annotations

import contextlib
import os
import resource
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from typing import NamedTuple


class Taken(NamedTuple):
    """Wall and processor time of one run, in s."""

    wall_s: float
    work_s: float


def time_command(*arguments: str, runs: int = 7) -> list[Taken]:
    """Run `beamfall ARGUMENTS` after one run to warm up; return what each run took."""
    taken = []
    for _ in range(runs + 1):
        before, start = resource.getrusage(resource.RUSAGE_CHILDREN), time.perf_counter()
        subprocess.run(
            [sys.executable, "-m", "beamfall", *arguments], check=True, stdout=subprocess.DEVNULL
        )
        wall_s, after = time.perf_counter() - start, resource.getrusage(resource.RUSAGE_CHILDREN)
        work_s = after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime
        taken.append(Taken(wall_s, work_s))
    return taken[1:]


def say_taken(taken: list[Taken]) -> str:
    """Return median, lowest and highest of the wall times, and the median of the processor times."""
    wall = [one.wall_s for one in taken]
    return (
        f"median {statistics.median(wall):.3f} s ({min(wall):.3f} to {max(wall):.3f}), "
        f"{statistics.median(one.work_s for one in taken):.3f} s of processor"
    )


@contextlib.contextmanager
def compiled_once() -> Iterator[None]:
    """Programs started inside the block find Python's files compiled, as after an installation.

    PYTHONDONTWRITEBYTECODE, which some machines set, would have every program compile all of them again.
    """
    unset = os.environ.pop("PYTHONDONTWRITEBYTECODE", None)
    with tempfile.TemporaryDirectory() as folder:
        os.environ["PYTHONPYCACHEPREFIX"] = folder
        try:
            yield
        finally:
            del os.environ["PYTHONPYCACHEPREFIX"]
            if unset is not None:
                os.environ["PYTHONDONTWRITEBYTECODE"] = unset
