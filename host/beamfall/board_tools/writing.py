"""Writes the firmware's files onto a board: only what differs, main.py last, each verified by its digest.

The board's `beamfall.files` lists what an installer put there, with digests. Everything else, and every file changed
since, belongs to the user, even in the firmware's folders: it is never removed or overwritten, but renamed where it
blocks a file of the firmware.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import PurePosixPath
from typing import Any

from beamfall.board_tools.bundle import FOLDERS, LIST, MAIN, SELECTED, Bundle
from beamfall.board_tools.errors import InstallError
from beamfall.board_tools.prompt import BoardFile, Interpreter, Prompt

_MARGIN_BYTES = 16 * 1024  # of the file system, for slots
_BLOCK = 4096

_MAIN_IS_OURS = b"Starts the board: every output off first"  # in its first line, in every version
_UNDER_WAY = "-"  # in the list, instead of a digest

Tell = Callable[[str], None]


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


def put_bundle(
    prompt: Prompt, interpreter: Interpreter, bundle: Bundle, tell: Tell
) -> dict[str, Any]:
    """Write a bundle; return the fields of `Report` that say what was done, and call `tell` with each step.

    The user's own files in the way are renamed. Raises InstallError if there is no room or a digest is wrong.
    """
    home = interpreter.home
    before = prompt.survey(home, FOLDERS, [MAIN, SELECTED, LIST])
    plan = plan_clearing(prompt, home, bundle, before)
    written = sorted(
        path
        for path in bundle.files
        if path not in before or before[path].sha256 != bundle.digest(path) or path == MAIN
    )
    replaced = {*plan.remove, *bundle.files} - set(plan.move)
    _check_room(interpreter, bundle, [before[path] for path in replaced & before.keys()], written)
    moved = {}
    for path in plan.move:
        moved[path] = move_aside(prompt, home, path)
        tell(f"your own {path} is now {moved[path]}")
    # From here on the list names everything on the board, even if the cable is pulled.
    write_list(prompt, home, bundle, plan.listed)
    main = [MAIN] if MAIN in before and MAIN not in moved else []
    prompt.remove([f"{home}/{path}" for path in main + plan.remove])
    prompt.make_folders(home, bundle.folders)
    for number, path in enumerate([*(p for p in written if p != MAIN), MAIN], 1):
        if path == MAIN:
            # Everything else is verified before the board can start with it.
            _verify(prompt, home, bundle, [p for p in bundle.files if p != MAIN], plan.remove)
            write_list(prompt, home, bundle)
        tell(f"{number} of {len(written)}: {path}, {len(bundle.files[path])} bytes")
        prompt.write_file(f"{home}/{path}", bundle.files[path])
    _verify(prompt, home, bundle, list(bundle.files), plan.remove)
    tell(f"the board has read all {len(bundle.files)} files back: their SHA-256 digests are right")
    return {
        "written": written,
        "unchanged": sorted(set(bundle.files) - set(written)),
        "removed": sorted(path for path in plan.remove if not before[path].is_folder),
        "moved": moved,
        "kept": sorted(plan.keep),
        "bytes_written": sum(len(bundle.files[path]) for path in written),
        "verified": len(bundle.files),
    }


def _check_room(
    interpreter: Interpreter, bundle: Bundle, replaced: list[BoardFile], written: list[str]
) -> None:
    if interpreter.free_bytes < 0:
        return

    def blocks(size: int) -> int:
        return -(-max(size, 1) // _BLOCK) * _BLOCK

    need = sum(blocks(len(bundle.files[path])) for path in written) + _MARGIN_BYTES
    gained = sum(blocks(file.size) for file in replaced if not file.is_folder)
    if need > interpreter.free_bytes + gained:
        raise InstallError(
            f"the board has {interpreter.free_bytes // 1024} KiB free, but needs {need // 1024} KiB; "
            "remove some of your own files from it",
            needs_bytes=need,
            free_bytes=interpreter.free_bytes,
        )


def _verify(
    prompt: Prompt, home: str, bundle: Bundle, paths: list[str], removed: list[str]
) -> None:
    """Have the board read its files back and compare their digests; removed files must be gone."""
    alone = [path for path in paths if path.split("/")[0] not in FOLDERS]
    found = prompt.survey(home, FOLDERS, alone)
    wrong = [
        path for path in paths if path not in found or found[path].sha256 != bundle.digest(path)
    ]
    if wrong:
        raise InstallError(
            f"{len(wrong)} of {len(paths)} files on the board differ from what was sent, the first is {wrong[0]}; the "
            "board will not start with them; install again, and erase the board's flash if it happens again",
            files=tuple(wrong),
        )
    strange = [path for path in removed if path in found and not found[path].is_folder]
    if strange:
        raise InstallError(
            f"old files are still on the board, the first is {strange[0]}: remove it and try again",
            files=tuple(strange),
        )
