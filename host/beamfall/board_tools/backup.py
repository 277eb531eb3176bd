"""Saves the user's own files on a board (its slots and its profile) to a file, and restores them.

The file is a ZIP archive with the board's files as they are. The board checks a slot's table when it loads it.
"""

from __future__ import annotations

import io
import json
import re
import zipfile
import zlib
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

from beamfall.board_tools.bundle import SELECTED
from beamfall.board_tools.errors import BackupError
from beamfall.board_tools.install import at_prompt
from beamfall.board_tools.prompt import Prompt
from beamfall.board_tools.writing import Tell
from beamfall.errors import UserError
from beamfall.files import write_bytes
from beamfall.setup.board_profiles import list_profiles

_ABOUT = "backup.json"
_KIND = "beamfall board backup 1"
_SLOTS = "slots"
_PROFILES = "boards"
_SLOT_FILE = re.compile(r"slots/slot(\d{1,3})\.(bin|new)")
_PROFILE_FILE = re.compile(r"boards/\w+\.(py|mpy)")
_NAME = re.compile(r'NAME = "([^"]+)"')
_MAX_BYTES = 1 << 20  # of all files: far more than slots and a profile can be


@dataclass(frozen=True)
class Backup:
    """Files by their path on the board, and the machine they come from."""

    machine: str
    files: dict[str, bytes]

    @property
    def slots(self) -> list[str]:
        """The slots in it, by number; the choice and the edge constant are kept beside them."""
        numbers = {found[1] for path in self.files if (found := _SLOT_FILE.fullmatch(path))}
        return sorted(number for number in numbers if 1 <= int(number) < 255)


def back_up(port: str, target: Path, tell: Tell = lambda text: None) -> Backup:
    """Write slots, choice, edge constant and profile of the board on a port to a file; then the board restarts.

    Raises InstallError, FileWriteError and the errors of ports.
    """
    with at_prompt(port, tell) as (prompt, interpreter):
        backup = read_own_files(prompt, interpreter.home, interpreter.machine)
    write_bytes(target, pack_backup(backup))
    return backup


def restore(port: str, source: Path, tell: Tell = lambda text: None) -> Backup:
    """Put a backup's files on the board at a port; the board then starts again. Slots of the same number are replaced.

    Raises BackupError for a file that is none, UserError if it does not fit this board, InstallError.
    """
    backup = read_backup(source)
    with at_prompt(port, tell) as (prompt, interpreter):
        write_own_files(prompt, interpreter.home, interpreter.machine, backup, tell)
    return backup


def read_own_files(prompt: Prompt, home: str, machine: str) -> Backup:
    """Read slots and the chosen profile from a board at its prompt; a profile of the firmware is kept by its name."""
    found = prompt.survey(home, [_SLOTS, _PROFILES], [SELECTED])
    known = (_SLOT_FILE, _PROFILE_FILE)
    files = {
        path: b"" for path in found if any(one.fullmatch(path) for one in known) or path == SELECTED
    }
    if SELECTED in files:
        files[SELECTED] = prompt.read_file(f"{home}/{SELECTED}")
    own = _find_profile(files) - {path.stem for path in list_profiles()}
    for path in list(files):
        if path.startswith(_PROFILES + "/") and Path(path).stem not in own:
            del files[path]
        elif path != SELECTED:
            files[path] = prompt.read_file(f"{home}/{path}")
    return Backup(machine, files)


def write_own_files(prompt: Prompt, home: str, machine: str, backup: Backup, tell: Tell) -> None:
    """Write a backup's files to a board at its prompt, and read each back."""
    if machine != backup.machine:
        raise UserError(
            f"the backup is from a '{backup.machine}', but this board is a '{machine}'; nothing was changed"
        )
    before = prompt.survey(home, [_SLOTS, _PROFILES], [])
    here = {
        Path(path).stem for path in {**before, **backup.files} if path.startswith(_PROFILES + "/")
    }
    if missing := _find_profile(backup.files) - here:
        raise UserError(
            f"the backup is for the profile {missing.pop()}, which this board does not have; nothing was changed. "
            "Install the firmware with that profile first: `beamfall board install --board NAME`"
        )
    # A slot has two files, of which the newer counts: none of the old pair may stay beside the restored one.
    slots = {Path(path).stem for path in backup.files if path.startswith(_SLOTS + "/")}
    old = [path for path in before if path.startswith(_SLOTS + "/") and Path(path).stem in slots]
    prompt.remove([f"{home}/{path}" for path in old])
    prompt.make_folders(home, sorted({path.split("/")[0] for path in backup.files if "/" in path}))
    for path, content in sorted(backup.files.items()):
        tell(f"{path}, {len(content)} bytes")
        prompt.write_file(f"{home}/{path}", content)
        if prompt.read_file(f"{home}/{path}") != content:
            raise BackupError(f"the board did not store {path} correctly; restore again")


def _find_profile(files: Mapping[str, bytes]) -> set[str]:
    """The name in selected_board.py, if there is one."""
    found = _NAME.search(files.get(SELECTED, b"").decode("utf-8", "replace"))
    return {found[1]} if found else set()


def pack_backup(backup: Backup) -> bytes:
    """Return the bytes of a backup's file."""
    content = io.BytesIO()
    with zipfile.ZipFile(content, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr(_ABOUT, json.dumps({"kind": _KIND, "machine": backup.machine}))
        for path, data in sorted(backup.files.items()):
            archive.writestr(path, data)
    return content.getvalue()


def read_backup(source: Path) -> Backup:
    """Read a backup; only slots and profiles are taken from it. Raises BackupError."""
    try:
        if source.stat().st_size > _MAX_BYTES:
            raise BackupError(f"{source} is not a board backup: it is too large")
        with zipfile.ZipFile(source) as archive:
            entries = archive.infolist()
            if sum(entry.file_size for entry in entries) > _MAX_BYTES:
                raise BackupError(f"{source} is not a board backup: it is too large")
            about = json.loads(archive.read(_ABOUT))
            files = {entry.filename: archive.read(entry) for entry in entries}
    except OSError as error:
        raise BackupError(f"{source} cannot be read: {error.strerror}") from error
    except (
        zipfile.BadZipFile,
        zlib.error,
        EOFError,
        zipfile.LargeZipFile,
        KeyError,
        ValueError,
        NotImplementedError,
        RuntimeError,
    ) as error:
        raise BackupError(f"{source} is not a board backup: {error}") from error
    if not isinstance(about, dict) or about.get("kind") != _KIND:
        raise BackupError(f"{source} is not a board backup that this version can read")
    del files[_ABOUT]
    for path in files:
        fits = path == SELECTED or _SLOT_FILE.fullmatch(path) or _PROFILE_FILE.fullmatch(path)
        if not fits:
            raise BackupError(
                f"{source} holds {path!r}, which is neither a slot nor a profile; nothing was changed"
            )
    return Backup(str(about.get("machine", "")), files)
