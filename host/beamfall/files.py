"""Writes files safely: the new content appears complete or not at all.

A file is written under a temporary name beside its place, forced to the disk, and then renamed over the old one,
which the operating system does in one step. A full disk, a disk error or a kill in the middle leaves the old
file as it was. The next write into the same folder removes what a killed program left behind.
"""

from __future__ import annotations

import contextlib
import errno
import os
import secrets
import stat
import time
from collections import Counter
from collections.abc import Callable, Iterator
from pathlib import Path

from beamfall.errors import BeamfallError, FileWriteError

_PART = ".beamfall-"  # start of a temporary name; it ends like the file's own name, which shows the format
_LEFT_BEHIND_S = 3600.0  # no running program uses a temporary file older than this
_SUFFIX_MOST = 16

_open: Counter[Path] = Counter()  # files that this program has open and nothing may replace
_OPEN = "this program has it open: give another name"

_CURES = {
    errno.ENOSPC: "the disk is full: make room",
    errno.EDQUOT: "your share of the disk is full: make room",
    errno.EFBIG: "the file is larger than this system allows: choose another place",
    errno.EIO: "the disk reports an error: copy what you need from it and choose another place",
    errno.EROFS: "this place is read-only: choose another",
    errno.EACCES: "you have no permission to write there: change the permissions or choose another place",
    errno.EPERM: "you have no permission to write there: change the permissions or choose another place",
    errno.ENOENT: "the folder does not exist: create it or choose another",
    errno.ENOTDIR: "part of the path is a file, not a folder: choose another place",
    errno.EEXIST: "a file is in the way: choose another place",
    errno.EISDIR: "this is a folder: give the name of a file",
    errno.ENAMETOOLONG: "the name is too long: choose a shorter one",
    errno.EMFILE: "too many files are open: close other programs",
    errno.ENFILE: "too many files are open: close other programs",
    errno.EBUSY: "another program uses it: close that program",
}


def say_cure(error: OSError) -> str:
    """Return what went wrong with a file and the cure, in one clause."""
    known = _CURES.get(error.errno or 0)
    return known or f"{error.strerror or error}: choose another place"


@contextlib.contextmanager
def explain_write(file: Path) -> Iterator[None]:
    """Turn an OSError inside the block into a FileWriteError that names `file` and the cure."""
    try:
        yield
    except BeamfallError:
        raise  # some are OSErrors too, and already say what happened
    except OSError as error:
        raise FileWriteError(file, say_cure(error), error.errno) from error


def hold_open(*files: Path) -> contextlib.ExitStack:
    """Let no write of this module replace these files until what is returned is closed; they need not exist."""
    held = contextlib.ExitStack()
    for place in {file.resolve() for file in files}:
        _open[place] += 1
        held.callback(_open.subtract, (place,))
    return held


@contextlib.contextmanager
def write_whole(file: Path) -> Iterator[Path]:
    """Give a temporary path to write to; it replaces `file` when the block ends without an error.

    Raises FileWriteError; `file` is then unchanged.
    """
    with write_together() as begin:
        yield begin(file)


@contextlib.contextmanager
def write_together() -> Iterator[Callable[[Path], Path]]:
    """Write several files that belong together: none appears before all are complete on the disk.

    The block gets a function; it calls this for each file and writes to the path returned. After an error in the block
    every file is unchanged. Raises FileWriteError, which names the file; if it is a rename that fails, the files before
    it are new already, and whole.
    """
    parts: list[tuple[Path, Path]] = []
    current: Path | None = None

    def begin(file: Path) -> Path:
        nonlocal current
        current = file
        if _open[file.resolve()] > 0:
            raise FileWriteError(file, _OPEN)
        with explain_write(file):
            part = _begin(file)
        if part != file:
            parts.append((part, file))
        return part

    try:
        try:
            yield begin
            for part, file in parts:
                current = file
                _force(part)
            # Before the first is replaced: a folder may be in the way of the second
            for _, file in parts:
                current = file
                if file.is_dir():
                    raise IsADirectoryError(errno.EISDIR, os.strerror(errno.EISDIR))
            for part, file in parts:
                current = file
                os.replace(part, _follow(file))
            for folder in {file.parent for _, file in parts}:
                _force_folder(folder)
        except BeamfallError:
            raise
        except OSError as error:
            raise FileWriteError(current, say_cure(error), error.errno) from error
    finally:
        for part, _ in parts:
            with contextlib.suppress(OSError):
                part.unlink()


def write_bytes(file: Path, content: bytes | memoryview) -> None:
    """Write a whole file or leave the old one; raises FileWriteError."""
    with write_whole(file) as part:
        part.write_bytes(content)


def write_text(file: Path, content: str) -> None:
    """Write a whole file in UTF-8 or leave the old one; raises FileWriteError."""
    write_bytes(file, content.encode("utf-8"))


def _begin(file: Path) -> Path:
    """Where to write: a new empty file beside the target, or the target itself if it is a device or a pipe."""
    place = _follow(file)
    try:
        mode = place.stat().st_mode
    except FileNotFoundError:
        mode = None
    if mode is not None and stat.S_ISDIR(mode):
        raise IsADirectoryError(errno.EISDIR, os.strerror(errno.EISDIR))
    if mode is not None and not stat.S_ISREG(mode):
        return file
    if mode is not None and not os.access(place, os.W_OK):
        raise PermissionError(errno.EACCES, os.strerror(errno.EACCES))
    _tidy(place.parent)
    suffix = place.suffix if len(place.suffix) <= _SUFFIX_MOST else ""
    part = place.with_name(f"{_PART}{secrets.token_hex(8)}{suffix}")
    handle = os.open(part, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o666)
    try:
        os.close(handle)
    except OSError:
        part.unlink()
        raise
    if mode is not None:
        with contextlib.suppress(OSError):
            part.chmod(stat.S_IMODE(mode))
    return part


def _follow(file: Path) -> Path:
    """The target if `file` is a link, so that the link stays."""
    return file.resolve() if file.is_symlink() else file


def _tidy(folder: Path) -> None:
    """Remove what a killed program left in this folder."""
    with contextlib.suppress(OSError):
        for left in folder.glob(f"{_PART}*"):
            if time.time() - left.stat().st_mtime > _LEFT_BEHIND_S:
                left.unlink()


def _force(part: Path) -> None:
    """Force the content to the disk: a full or faulty disk shows here at the latest."""
    handle = os.open(part, os.O_RDWR)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


def _force_folder(folder: Path) -> None:
    """Force the new names to the disk, if the system can do so for a folder."""
    with contextlib.suppress(OSError):
        handle = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)
