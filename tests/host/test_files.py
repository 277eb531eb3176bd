"""A file is written whole or stays as it was, whichever call of the system fails."""

from __future__ import annotations

import errno
import os
import signal
import stat
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from full_disk import full_disk

from beamfall.errors import FileWriteError, UserError
from beamfall.files import write_text, write_together, write_whole

FAILURES = (errno.ENOSPC, errno.EIO, errno.EROFS, errno.EACCES, errno.EMFILE, errno.EDQUOT)


def count_calls(monkeypatch: pytest.MonkeyPatch, fail_at: int, number: int) -> list[str]:
    """Have the n-th call of the system fail; returns the names of the calls as they come."""
    calls: list[str] = []

    def wrap(name: str) -> Callable[..., Any]:
        plain = getattr(os, name)

        def call(*arguments: Any, **more: Any) -> Any:
            calls.append(name)
            if len(calls) - 1 == fail_at:
                if name == "close":
                    plain(*arguments)
                raise OSError(number, os.strerror(number))
            return plain(*arguments, **more)

        return call

    for name in ("open", "close", "fsync", "replace"):
        monkeypatch.setattr(os, name, wrap(name))
    return calls


def parts(folder: Path) -> list[str]:
    return [file.name for file in folder.iterdir() if file.name.startswith(".")]


@pytest.mark.parametrize("number", FAILURES, ids=[errno.errorcode[one] for one in FAILURES])
def test_whatever_call_fails_the_old_files_stay(tmp_path: Path, number: int) -> None:
    first, second = tmp_path / "a.csv", tmp_path / "b.csv"
    first.write_text("old a")
    second.write_text("old b")
    tried, failed = 0, True
    while failed:
        first.write_text("old a")
        second.write_text("old b")
        with pytest.MonkeyPatch.context() as patch:
            calls = count_calls(patch, tried, number)
            raised = False
            try:
                with write_together() as begin:
                    for file in (first, second):
                        begin(file).write_text("new")
            except FileWriteError as error:
                assert error.number == number and error.file in (first, second)
                raised = True
        failed = tried < len(calls)
        assert parts(tmp_path) == []
        found = (first.read_text(), second.read_text())
        if not raised:
            assert found == ("new", "new")
        elif calls.count("replace") == 2:  # between two renames: each file is whole all the same
            assert found == ("new", "old b")
        else:
            assert found == ("old a", "old b"), f"call {tried}, {calls[tried]}"
        tried += 1
    assert tried > 10


def test_a_disk_that_fills_in_the_middle_leaves_the_old_file(tmp_path: Path) -> None:
    file = tmp_path / "report.html"
    file.write_text("old")
    with full_disk(4096), pytest.raises(FileWriteError) as caught:
        write_text(file, "x" * 100_000)
    assert caught.value.number == errno.EFBIG and caught.value.exit_status == 2
    assert isinstance(caught.value, UserError)
    assert file.read_text() == "old" and parts(tmp_path) == []


@pytest.mark.skipif(os.name == "nt", reason="Windows has no SIGKILL")
def test_a_kill_in_the_middle_leaves_the_old_file_and_the_next_write_tidies_up(
    tmp_path: Path,
) -> None:
    file = tmp_path / "log.csv"
    file.write_text("old")
    program = (
        "import os, sys; from pathlib import Path; from beamfall.files import write_whole\n"
        "with write_whole(Path(sys.argv[1])) as part: part.write_text('half'); os.kill(os.getpid(), 9)\n"
    )
    done = subprocess.run([sys.executable, "-c", program, str(file)], check=False)
    assert done.returncode == -signal.SIGKILL
    assert file.read_text() == "old"
    (left,) = parts(tmp_path)
    long_ago = time.time() - 86_400
    os.utime(tmp_path / left, (long_ago, long_ago))
    write_text(file, "new")
    assert parts(tmp_path) == [] and file.read_text() == "new"


def test_an_error_of_the_writer_itself_passes_and_leaves_the_old_file(tmp_path: Path) -> None:
    file = tmp_path / "x.png"
    file.write_text("old")
    with pytest.raises(ZeroDivisionError), write_whole(file) as part:
        assert part.suffix == ".png"  # a drawing library chooses the format by it
        part.write_text("half")
        raise ZeroDivisionError
    assert file.read_text() == "old" and parts(tmp_path) == []


def test_where_nothing_can_be_written_is_said_before_anything_is_made(tmp_path: Path) -> None:
    (tmp_path / "folder").mkdir()
    (tmp_path / "file").write_text("")
    for place in ("nowhere/x.csv", "folder", "file/x.csv", "n" * 300 + ".csv"):
        with pytest.raises(FileWriteError):
            write_text(tmp_path / place, "x")
    assert sorted(one.name for one in tmp_path.iterdir()) == ["file", "folder"]


@pytest.mark.skipif(os.name == "nt", reason="links and rights work otherwise on Windows")
def test_a_link_and_the_rights_of_a_file_stay(tmp_path: Path) -> None:
    real, link = tmp_path / "real.toml", tmp_path / "rig.toml"
    real.write_text("old")
    real.chmod(0o640)
    link.symlink_to(real)
    write_text(link, "new")
    assert link.is_symlink() and real.read_text() == "new"
    assert stat.S_IMODE(real.stat().st_mode) == 0o640


@pytest.mark.skipif(os.name == "nt", reason="devices have other names on Windows")
def test_a_device_is_written_to_as_it_is() -> None:
    write_text(Path("/dev/null"), "x")
    assert stat.S_ISCHR(Path("/dev/null").stat().st_mode)
