"""The pictures of a folder: each once, even if it is there both as a raw file and as a JPEG."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from beamfall.errors import PictureError, UserError
from beamfall.photos.exif import Photograph, read_photograph

JPEG = (".jpg", ".jpeg")
RAW = (
    ".arw", ".cr2", ".cr3", ".dng", ".nef", ".nrw", ".orf", ".pef", ".raf", ".raw", ".rw2", ".sr2", ".srw",
)  # fmt: skip
OTHER = (".tif", ".tiff", ".heic", ".heif", ".hif", ".png", ".webp")
# JPEG first: it can be shown
_ORDER = {ending: n for n, ending in enumerate((*JPEG, *OTHER, *RAW))}


def is_picture(file: Path) -> bool:
    """Whether a file's ending is that of a picture."""
    return file.suffix.lower() in _ORDER


def rank(file: Path) -> int:
    """A number by which files of one picture are sorted: what is easiest to show first, raw files last."""
    return _ORDER.get(file.suffix.lower(), len(_ORDER))


@dataclass(frozen=True)
class Folder:
    """What a folder holds: pictures in order of time, and what could not be used, in words."""

    path: Path
    pictures: tuple[Photograph, ...]
    problems: tuple[str, ...]
    twins: int  # files left out because the same picture is there in another format


def read_folder(path: Path) -> Folder:
    """Read all pictures of a folder and those below it.

    Raises UserError if there is no such folder, none of its files is a picture, or no picture
    has a capture time.
    """
    if not path.is_dir():
        raise UserError(f"{path}: there is no such folder")
    files: dict[tuple[Path, str], list[Path]] = {}
    try:
        found = sorted(path.rglob("*"))
    except OSError as error:
        raise UserError(f"{path}: cannot be read: {error.strerror or error}") from error
    for file in found:
        hidden = any(part.startswith(".") for part in file.relative_to(path).parts)
        if is_picture(file) and not hidden and file.is_file():
            files.setdefault((file.parent, file.stem.lower()), []).append(file)
    if not files:
        endings = ", ".join(ending.removeprefix(".") for ending in _ORDER)
        raise UserError(f"{path}: no picture in it; known endings are {endings}")
    pictures, problems = [], []
    twins = 0
    for same in files.values():
        same.sort(key=rank)
        wrong = []
        for file in same:
            try:
                check_name(file)
                pictures.append(read_photograph(file))
            except PictureError as error:
                wrong.append(str(error))
            else:
                twins += len(same) - 1 - len(wrong)
                break
        problems += wrong
    if not pictures:
        first = "".join(f"\n  {problem}" for problem in problems[:5])
        raise UserError(f"{path}: none of its {len(problems)} pictures has a capture time:{first}")
    pictures.sort(key=lambda one: (one.taken_s, one.path))
    return Folder(path, tuple(pictures), tuple(problems), twins)


def check_name(file: Path) -> None:
    """Refuse a name that is not text: the log cannot hold it."""
    try:
        str(file).encode()
    except UnicodeEncodeError as error:
        raise PictureError(f"{file.name}: this name is not UTF-8 text; rename the file") from error
