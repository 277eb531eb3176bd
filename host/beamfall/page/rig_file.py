"""The rig file of the page: where the form was read from and is saved to."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import count
from pathlib import Path

from beamfall.errors import UserError
from beamfall.files import write_text
from beamfall.text import make_file_name


@dataclass(frozen=True)
class RigFile:
    """A rig file and its text when it was last read or saved. `path` is None for a rig that is not saved yet."""

    path: Path | None = None
    text: str = ""

    def save(self, text: str, name: str) -> RigFile:
        """Write the text; a rig without a file gets a new one of its name in the folder of the program.

        Raises FileWriteError, and UserError if somebody has changed the file meanwhile.
        """
        path = self.path or _find_free(name)
        if self.path is not None and _read(self.path) != self.text:
            raise UserError(
                f"{path} has changed since this page read it, so it was not replaced. "
                "Download your entries as a rig file, or discard the changes here to read the file again"
            )
        write_text(path, text)
        return RigFile(path, text)


def _find_free(name: str) -> Path:
    stem = make_file_name(name, otherwise="my_rig")
    names = (f"{stem}{'' if number == 1 else f'_{number}'}.toml" for number in count(1))
    return next(path for path in map(Path, names) if not path.exists())


def _read(path: Path) -> str | None:
    try:
        return path.read_text(encoding="utf-8")
    except (OSError, ValueError):
        return None
