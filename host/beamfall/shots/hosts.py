"""Which program logged a shot, and whether it still runs: while it runs, it may yet release that shot."""

from __future__ import annotations

import hashlib
import os
import platform
from pathlib import Path

from beamfall.scratch import is_running


def name_process() -> str:
    """Return a name for this process: machine, process number, and when it started where that is known."""
    return f"{_name_machine()}/{os.getpid()}/{_find_start(os.getpid())}"


def _name_machine() -> str:
    """A short digest: an export should not reveal the machine's own name."""
    return hashlib.sha256(platform.node().encode("utf-8", "replace")).hexdigest()[:8]


def may_run(name: str | None) -> bool:
    """Whether the process of that name may still be running; also true if it is on another machine.

    A shot of an older log has no name: its program counts as ended. So does this process itself: it knows which
    shots it has begun.
    """
    if not name or name == name_process():
        return False
    parts = name.split("/")
    if len(parts) != 3 or parts[0] != _name_machine() or not parts[1].isdecimal():
        return True
    process = int(parts[1])
    return is_running(process) and parts[2] == _find_start(process)


def _find_start(process: int) -> str:
    """When a process started, in ticks since the machine did (proc(5), field 22); empty if there is no /proc."""
    try:
        return (
            Path(f"/proc/{process}/stat")
            .read_text("utf-8", "replace")
            .rpartition(")")[2]
            .split()[19]
        )
    except (OSError, IndexError):
        return ""
