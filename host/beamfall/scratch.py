"""Temporary folders. Each is removed when its user has finished with it or the program ends.

A killed program cannot do that: the next program that makes such a folder removes those of dead programs.
"""

from __future__ import annotations

import contextlib
import ctypes
import os
import re
import secrets
import shutil
import sys
import tempfile
import weakref
from pathlib import Path

_PREFIX = "beamfall-"


class ScratchFolder:
    """A temporary folder. `name` is its path; a `with` block makes the folder and removes it with its content.

    Who uses it without `with` may make it when the first file is written, and calls `remove`.
    """

    def __init__(self) -> None:
        _remove_leftovers()
        token = f"{_find_place()}-{os.getpid()}-{secrets.token_hex(6)}"
        self.name = str(Path(tempfile.gettempdir(), _PREFIX + token))
        self._finalizer = weakref.finalize(self, _remove, self.name, os.getpid())

    def __enter__(self) -> Path:
        folder = Path(self.name)
        folder.mkdir(mode=0o700)
        return folder

    def __exit__(self, *_: object) -> None:
        self.remove()

    def remove(self) -> None:
        """Remove the folder and its content; calling it twice is harmless."""
        self._finalizer()


def _remove(name: str, owner: int) -> None:
    if os.getpid() == owner:  # a forked copy of the program ends too, but does not own the folder
        shutil.rmtree(name, ignore_errors=True)


def _remove_leftovers() -> None:
    """Remove the folders of dead programs, found by the process number in the name.

    Folders of another computer or container on the same disk stay, since we cannot know whether their programs are
    alive. So does a folder whose number another program now has, until that one ends. Does nothing on Windows, where
    it is harder to find out whether a process is alive.
    """
    if sys.platform == "win32":
        return
    shape = re.compile(f"{_PREFIX}{_find_place()}-([0-9]+)-[0-9a-f]+")
    with contextlib.suppress(OSError), os.scandir(tempfile.gettempdir()) as entries:
        for entry in entries:
            found = shape.fullmatch(entry.name)
            if found and entry.is_dir(follow_symlinks=False) and not is_running(int(found[1])):
                shutil.rmtree(entry.path, ignore_errors=True)


def _find_place() -> str:
    """The computer or container that the process numbers belong to."""
    try:
        return str(os.stat("/proc/self/ns/pid").st_ino)
    except OSError:
        return re.sub("[^0-9A-Za-z]", "", os.uname().nodename) if hasattr(os, "uname") else "here"


def is_running(process: int) -> bool:
    """Whether a process of that number is running."""
    if sys.platform == "win32":
        # Query limited information
        handle = ctypes.windll.kernel32.OpenProcess(0x1000, False, process)
        ctypes.windll.kernel32.CloseHandle(handle)
        return bool(handle)
    try:
        os.kill(process, 0)
    except (ProcessLookupError, OverflowError):
        return False
    except OSError:
        return True  # it belongs to another user
    return True
