"""A board's slots and profile, kept in a file and put back: on a real MicroPython interpreter."""

from __future__ import annotations

import contextlib
import zipfile
from pathlib import Path

import pytest

from beamfall.board_tools.backup import (
    Backup,
    pack_backup,
    read_backup,
    read_own_files,
    write_own_files,
)
from beamfall.board_tools.errors import BackupError
from beamfall.board_tools.prompt import Prompt
from beamfall.errors import UserError

MACHINE = "linux [GCC]"


def lay_out(folder: Path, content: dict[str, str]) -> None:
    for path, text in content.items():
        (folder / path).parent.mkdir(exist_ok=True)
        (folder / path).write_text(text)


def test_what_is_the_users_own_comes_back_and_nothing_else_moves(
    files: Path, prompt: Prompt
) -> None:
    home = prompt.enter().home
    own = {
        "selected_board.py": 'NAME = "my_board"\n',
        "boards/my_board.py": "PORT = 'generic'\n",
        "slots/slot1.bin": "one",
        "slots/slot3.new": "three",
        "slots/slot0.bin": "choice",
        "slots/slot255.bin": "edge constant",
    }
    lay_out(
        files, {**own, "boards/pico.mpy": "firmware", "main.py": "firmware", "notes.txt": "mine"}
    )
    backup = read_own_files(prompt, home, MACHINE)
    assert backup.files == {path: text.encode() for path, text in own.items()}
    assert backup.slots == ["1", "3"]
    # Later: another table in slot 1, newer by its other file; the profile is gone; slot 2 is new.
    for path in ("slots/slot1.bin", "boards/my_board.py"):
        (files / path).unlink()
    lay_out(files, {"slots/slot1.new": "later", "slots/slot2.bin": "two"})
    write_own_files(prompt, home, MACHINE, backup, lambda _: None)
    found = {
        str(path.relative_to(files)): path.read_text()
        for path in files.rglob("*")
        if path.is_file()
    }
    assert found == {
        **own, "boards/pico.mpy": "firmware", "main.py": "firmware", "notes.txt": "mine", "slots/slot2.bin": "two"
    }  # fmt: skip


def test_a_profile_of_the_firmware_is_kept_by_its_name_only(files: Path, prompt: Prompt) -> None:
    home = prompt.enter().home
    lay_out(files, {"selected_board.py": 'NAME = "pico"\n', "boards/pico.mpy": "of this version"})
    backup = read_own_files(prompt, home, MACHINE)
    assert set(backup.files) == {"selected_board.py"}
    (files / "boards/pico.mpy").write_text("of the next version")
    write_own_files(prompt, home, MACHINE, backup, lambda _: None)
    assert (files / "boards/pico.mpy").read_text() == "of the next version"


def test_a_backup_that_does_not_fit_changes_nothing(files: Path, prompt: Prompt) -> None:
    home = prompt.enter().home
    lay_out(files, {"slots/slot1.bin": "old"})
    new = {"slots/slot1.bin": b"new", "selected_board.py": b'NAME = "elsewhere"\n'}
    for backup, words in ((Backup("another", new), "another"), (Backup(MACHINE, new), "elsewhere")):
        with pytest.raises(UserError, match=words):
            write_own_files(prompt, home, MACHINE, backup, lambda _: None)
    assert (files / "slots/slot1.bin").read_text() == "old"


def test_only_a_backup_is_read(tmp_path: Path) -> None:
    path = tmp_path / "backup.zip"
    path.write_bytes(pack_backup(Backup(MACHINE, {"slots/slot1.bin": b"one"})))
    assert read_backup(path) == Backup(MACHINE, {"slots/slot1.bin": b"one"})
    for name in ("main.py", "../slots/x", "slots/a/b", "boards/../main.py", "slots/.."):
        path.write_bytes(pack_backup(Backup(MACHINE, {name: b"x"})))
        with pytest.raises(BackupError):
            read_backup(path)
    with zipfile.ZipFile(path, "w") as archive:
        archive.writestr("something", "else")
    with pytest.raises(BackupError):
        read_backup(path)
    whole = pack_backup(Backup(MACHINE, {"slots/slot1.bin": bytes(range(200))}))
    for at in range(0, len(whole), 3):  # whatever byte is damaged, and wherever it is cut
        for damaged in (whole[:at] + bytes((whole[at] ^ 0x55,)) + whole[at + 1 :], whole[:at]):
            path.write_bytes(damaged)
            with contextlib.suppress(BackupError):
                read_backup(path)
    # Both could be read: only their size speaks against them.
    huge = pack_backup(Backup(MACHINE, {"slots/slot1.bin": bytes(2 << 20)}))
    for too_large in (bytes(2 << 20) + whole, huge):
        path.write_bytes(too_large)
        with pytest.raises(BackupError):
            read_backup(path)
    path.write_bytes(b"no archive")
    with pytest.raises(BackupError):
        read_backup(path)
    with pytest.raises(BackupError):
        read_backup(tmp_path / "missing.zip")
