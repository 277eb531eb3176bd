"""Writes the firmware's files onto a board: only what differs, main.py last, each verified by its digest."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from beamfall.board_tools.bundle import FOLDERS, LIST, MAIN, SELECTED, Bundle
from beamfall.board_tools.own_files import move_aside, plan_clearing, write_list
from beamfall.board_tools.prompt import BoardFile, Interpreter, Prompt
from beamfall.errors import InstallError

_MARGIN_BYTES = 16 * 1024  # of the file system, for slots
_BLOCK = 4096

Tell = Callable[[str], None]


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
            "remove some of your own files from it"
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
            "board will not start with them; install again, and erase the board's flash if it happens again"
        )
    strange = [path for path in removed if path in found and not found[path].is_folder]
    if strange:
        raise InstallError(
            f"old files are still on the board, the first is {strange[0]}: remove it and try again"
        )
