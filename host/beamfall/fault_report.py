"""A report file for a bug in Beamfall: what a developer needs, and nothing private.

It holds versions, the traceback with paths inside the program only, and the last frames on the line. Home folder,
working folder and user name are left out.
"""

from __future__ import annotations

import getpass
import importlib.metadata
import os
import platform
import sys
import time
import traceback
from collections.abc import Sequence
from pathlib import Path

from beamfall import __version__
from beamfall.errors import FRAMES, BeamfallError
from beamfall.files import write_text
from beamfall.places import find_log
from beamfall.text import show_text

BUG = "bug in Beamfall"  # in every message about one, and in no other
_LIBRARIES = ("numpy", "scipy", "pyserial", "typer", "starlette", "uvicorn", "matplotlib", "pillow")
_PACKAGE = Path(__file__).resolve().parent


def write_fault_report(error: BaseException, arguments: Sequence[str]) -> Path | None:
    """Write the report beside the shot log; return its path, None if no file can be written."""
    stamp = time.strftime("%Y%m%d-%H%M%S")
    path = find_log().parent / "faults" / f"fault-{stamp}-{os.getpid()}.txt"
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        write_text(path, describe_fault(error, arguments))
    except (OSError, BeamfallError):
        return None
    return path


def describe_fault(error: BaseException, arguments: Sequence[str]) -> str:
    """Return the report's text."""
    lines = [
        f"Beamfall {__version__}: {BUG}",
        time.strftime("%Y-%m-%d %H:%M:%S %z"),
        f"Python {platform.python_version()} on {platform.platform()}",
        "; ".join(f"{name} {_find_version(name)}" for name in _LIBRARIES),
        f"command: beamfall {' '.join(_hide_value(one) for one in arguments)}",
        "",
        *_describe_chain(error),
        "",
        "Last frames on the line, the newest last:",
        *(getattr(error, FRAMES, None) or ["(none known)"]),
    ]
    return _hide(show_text("\n".join(lines), keep_lines=True)) + "\n"


def _describe_chain(error: BaseException) -> list[str]:
    """The traceback with its causes; of files outside the program only their names."""
    lines = []
    seen: BaseException | None = error
    while seen is not None:
        lines.append(f"{type(seen).__name__}: {seen}")
        for frame in reversed(traceback.extract_tb(seen.__traceback__)):
            lines.append(f"  {_place(frame.filename)}:{frame.lineno} {frame.name}: {frame.line}")
        seen = seen.__cause__ or seen.__context__
        if seen is not None:
            lines.append("after")
    return lines


def _place(file: str) -> str:
    path = Path(file)
    try:
        return f"beamfall/{path.resolve().relative_to(_PACKAGE)}"
    except ValueError:
        return f".../{path.parent.name}/{path.name}"


def _hide_value(argument: str) -> str:
    """An argument without what may be private: of a path only its ending."""
    if os.sep in argument or "/" in argument:
        return f"PATH{Path(argument).suffix}"
    return argument


def _hide(text: str) -> str:
    """The text without the user's name and folders."""
    private = {str(Path.home()): "~", os.getcwd(): "."}
    for folder, short in private.items():
        if len(folder) > 1:
            text = text.replace(folder, short)
    try:
        name = getpass.getuser()
    except (KeyError, OSError, ImportError):
        return text
    return text.replace(name, "USER") if len(name) > 3 and name != "root" else text


def _find_version(name: str) -> str:
    try:
        return importlib.metadata.version(name)
    except importlib.metadata.PackageNotFoundError:
        return "not installed"


def describe_for_user(error: BaseException, arguments: Sequence[str] | None = None) -> str:
    """Write the report and return what to say to the person: what happened and what to do."""
    path = write_fault_report(error, sys.argv[1:] if arguments is None else arguments)
    what = f"Internal error: {type(error).__name__}: {error}\n"
    if path is None:
        return f"{what}This is a {BUG}. Please report it with this line."
    return f"{what}This is a {BUG}. Please report it and attach {path}"
