"""Where a simulated board keeps its slots: a folder that exists only once a slot has been written.

The firmware makes the folder when it first saves a slot. The folder goes when the port is closed or the program
ends. A program that was killed cannot do that: the next simulated board removes what dead programs have left.
"""

from __future__ import annotations

import contextlib
import os
import re
import secrets
import shutil
import sys
import tempfile
import weakref
from pathlib import Path

_PREFIX = "beamfall-sim-"


class BoardFolder:
    """The file system of one simulated board. `name` is the folder's path; it need not exist."""

    def __init__(self) -> None:
        remove_leftovers()
        token = f"{_find_place()}-{os.getpid()}-{secrets.token_hex(6)}"
        self.name = str(Path(tempfile.gettempdir(), _PREFIX + token))
        self._finalizer = weakref.finalize(self, _remove, self.name, os.getpid())

    def remove(self) -> None:
        """Remove the folder and what is in it; calling it twice is harmless."""
        self._finalizer()


def _remove(name: str, owner: int) -> None:
    if os.getpid() == owner:  # a forked copy of the program ends too, and the folder is not its own
        shutil.rmtree(name, ignore_errors=True)


def remove_leftovers() -> None:
    """Remove the folders of programs that are dead, by the process number in the name.

    Folders of another computer or container on the same disk stay: only there is known who is alive. So does a
    folder whose number another program has now; it goes when that one has ended. Does nothing on Windows, where
    asking whether a process is alive takes more than that.
    """
    if sys.platform == "win32":
        return
    shape = re.compile(f"{_PREFIX}{_find_place()}-([0-9]+)-[0-9a-f]+")
    with contextlib.suppress(OSError), os.scandir(tempfile.gettempdir()) as entries:
        for entry in entries:
            found = shape.fullmatch(entry.name)
            if found and entry.is_dir(follow_symlinks=False) and not _is_alive(int(found[1])):
                shutil.rmtree(entry.path, ignore_errors=True)


def _find_place() -> str:
    """What process numbers are of: a computer, or one of its containers."""
    try:
        return str(os.stat("/proc/self/ns/pid").st_ino)
    except OSError:
        return re.sub("[^0-9A-Za-z]", "", os.uname().nodename) if hasattr(os, "uname") else "here"


def _is_alive(process: int) -> bool:
    try:
        os.kill(process, 0)
    except ProcessLookupError:
        return False
    except OSError:
        return True  # it is somebody else's
    return True
