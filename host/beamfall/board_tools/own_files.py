"""Finds the user's own files on a board, and renames those that block the firmware's files.

The board's `beamfall.files` lists what an installer put there, with digests. Everything else, and
every file changed since, belongs to the user, even in the firmware's folders: it is never removed
or overwritten.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import PurePosixPath

from beamfall.board_tools.bundle import FOLDERS, LIST, MAIN, Bundle
from beamfall.board_tools.prompt import BoardFile, Prompt

_MAIN_IS_OURS = b"Starts the board: every output off first"  # in its first line, in every version

_UNDER_WAY = "-"  # in the list, instead of a digest


@dataclass
class Clearing:
    """What to do on a board before writing new firmware."""

    remove: list[str] = field(default_factory=list)  # ours, of earlier versions
    move: list[str] = field(default_factory=list)  # the user's, where the firmware must be
    keep: list[str] = field(default_factory=list)  # the user's, in the firmware's folders
    listed: set[str] = field(default_factory=set)  # what installers have written


def plan_clearing(
    prompt: Prompt, home: str, bundle: Bundle, before: dict[str, BoardFile]
) -> Clearing:
    """Sort the board's files (`before`: a survey of the firmware's folders and of its files outside)."""
    listed = _read_list(prompt, home, before)
    plan = Clearing(listed=set(listed))
    # After an interrupted installation a file may be incomplete: it is ours all the same.
    ours = {
        path
        for path, digest in listed.items()
        if path in before and digest in (_UNDER_WAY, before[path].sha256)
    }
    ours.add(LIST)
    folders = {str(folder) for path in listed for folder in PurePosixPath(path).parents} - {"."}
    if MAIN in before and _MAIN_IS_OURS in prompt.read_file(f"{home}/{MAIN}")[:200]:
        ours.add(MAIN)  # from a version that kept no list
    # An import finds a folder before x.py, and x.py before x.mpy: any of them is in the way.
    modules = {path.rpartition(".")[0] for path in bundle.files}
    for path, file in before.items():
        if file.is_folder:
            in_the_way = path in modules
            stale = path in folders and path not in bundle.folders and path not in FOLDERS
        else:
            in_the_way = path in bundle.files or path.rpartition(".")[0] in modules
            stale = path not in bundle.files and path != LIST
        if path in (folders if file.is_folder else ours):
            if stale:
                plan.remove.append(path)
        elif in_the_way:
            is_same = path in bundle.files and file.sha256 == bundle.digest(path)
            if file.is_folder or not is_same:
                plan.move.append(path)
        elif not file.is_folder:
            plan.keep.append(path)
    # Remove a folder's content before the folder; a moved folder takes its content along.
    plan.remove.sort(key=lambda path: path.count("/"), reverse=True)
    moved = [f"{path}/" for path in plan.move]
    plan.move = [path for path in plan.move if not path.startswith(tuple(moved))]
    plan.keep = [path for path in plan.keep if not path.startswith(tuple(moved))]
    return plan


def move_aside(prompt: Prompt, home: str, path: str) -> str:
    """Rename a user's file or folder to an unused name; return the name."""
    folder, slash, name = path.rpartition("/")
    stem, dot, ending = name.partition(".")
    number = 1
    while True:
        count = "" if number == 1 else f"_{number}"
        free = f"{folder}{slash}{stem}_before_beamfall{count}{dot}{ending}"
        if not prompt.exists(f"{home}/{free}"):
            prompt.rename(f"{home}/{path}", f"{home}/{free}")
            return free
        number += 1


def write_list(prompt: Prompt, home: str, bundle: Bundle, earlier: set[str] | None = None) -> None:
    """List what was written to the board; with `earlier`, before writing, also what may still be there."""
    content = render_list(bundle)
    if earlier is not None:
        lines = [f"{_UNDER_WAY}  {path}\n" for path in sorted(earlier | bundle.files.keys())]
        content = "".join(lines).encode()
    prompt.write_file(f"{home}/{LIST}", content)


def render_list(bundle: Bundle) -> bytes:
    """The list of a complete installation: each file with its digest."""
    return "".join(f"{bundle.digest(path)}  {path}\n" for path in sorted(bundle.files)).encode()


def _read_list(prompt: Prompt, home: str, before: dict[str, BoardFile]) -> dict[str, str]:
    """Digest by path."""
    if LIST not in before:
        return {}
    text = prompt.read_file(f"{home}/{LIST}").decode("utf-8", "replace")
    lines = [line.split("  ", 1) for line in text.splitlines() if "  " in line]
    return {path: digest for digest, path in lines}
