"""What goes wrong when a board is installed, imaged, backed up, measured or tested."""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum

from beamfall.errors import BeamfallError, UserError


@dataclass(eq=False, kw_only=True)
class InstallError(BeamfallError):
    """Firmware could not be put on a board, or what is there is not what was sent; the message has the cure.

    `files` are those on the board that are not as they should be; `needs_bytes` and `free_bytes` are given where the
    board has too little room.
    """

    files: tuple[str, ...] = ()
    needs_bytes: int | None = None
    free_bytes: int | None = None


class ImageProblem(Enum):
    """Why a file cannot be joined with the firmware."""

    UNREADABLE = "it cannot be read"
    TOO_LARGE = "it is too large"
    NOT_UF2 = "it is not a UF2 file"
    OTHER_CHIP = "it is for another chip"
    NOT_MICROPYTHON = "it is not a MicroPython interpreter"
    TOO_OLD = "its MicroPython is too old"
    NOT_EMPTY = "its file system already holds something"
    NO_ROOM = "the firmware does not fit its file system"


class ImageError(UserError):
    """A file that is not a MicroPython image for a board, or one that the firmware does not fit; `problem` says why."""

    def __init__(self, problem: ImageProblem, message: str) -> None:
        super().__init__(message)
        self.problem = problem


class BackupError(UserError):
    """A file that is not a backup of a board, or a board that did not keep what was restored."""


class MeasureError(BeamfallError):
    """The timing self-test found no wire, or not the wire it needs; the message says where it goes."""


@dataclass(eq=False, kw_only=True)
class BenchError(BeamfallError):
    """A controller and its bench double do not work together; `parts` names the wires, outputs or board to blame."""

    parts: tuple[str, ...] = ()
