"""A shot, a board or a photograph did not come out as it was meant to."""

from __future__ import annotations

from collections.abc import Iterable
from enum import Enum

from beamfall.errors.root import BeamfallError


class ShotError(BeamfallError):
    """A shot did not go as asked."""


class ReleaseUnknown(ShotError):
    """A release's answer is lost and the board has restarted: nobody can know whether the shot ran."""


class NoProgress(ShotError):
    """Shots in a row did not fire, or gave no information: no timing can cure that. Find out why with a check.

    `shots` of them; `why`, in words; `fired`: whether they fired.
    """

    def __init__(self, shots: int, why: str, *, fired: bool) -> None:
        self.shots = shots
        self.why = why
        self.fired = fired
        super().__init__(f"{self.describe()}. Find out why: `beamfall check`")

    def describe(self) -> str:
        """What happened, as a sentence without its full stop."""
        what = "gave no information" if self.fired else "did not fire"
        return f"{self.shots} shots in a row {what} ({self.why})"


class BoardRestarted(ShotError):
    """The board's boot id has changed: its table is gone, a running shot is lost.

    `perhaps_done`: the request may have been carried out before the restart; nobody can know.
    """

    def __init__(self, message: str, *, perhaps_done: bool = False) -> None:
        super().__init__(message)
        self.perhaps_done = perhaps_done


class InstallError(BeamfallError):
    """Firmware could not be put on a board, or what is there is not what was sent; the message has the cure.

    `files` are those on the board that are not as they should be; `needs_bytes` and `free_bytes` are given where the
    board has too little room.
    """

    def __init__(
        self,
        message: str,
        *,
        files: Iterable[str] = (),
        needs_bytes: int | None = None,
        free_bytes: int | None = None,
    ) -> None:
        super().__init__(message)
        self.files, self.needs_bytes, self.free_bytes = tuple(files), needs_bytes, free_bytes


class BenchError(BeamfallError):
    """A controller and its bench double do not work together; `parts` names the wires, outputs or board to blame."""

    def __init__(self, message: str, *, parts: Iterable[str] = ()) -> None:
        super().__init__(message)
        self.parts = tuple(parts)


class MeasureError(BeamfallError):
    """The timing self-test found no wire, or not the wire it needs; the message says where it goes."""


class CalibrationError(BeamfallError):
    """What was measured does not fit the rig file at all; the message says what to look at."""


class PictureError(BeamfallError):
    """A photograph cannot be read, or does not say when it was taken; the message names it."""


class CameraProblem(Enum):
    """Why there is no picture of a shot."""

    NOT_FOUND = "no camera, or no folder"
    SEVERAL = "several cameras, and none was named"
    BUSY = "another program uses the camera"
    NO_ANSWER = "the camera does not answer: asleep, or its USB mode is wrong"
    LOST = "the camera was unplugged or switched off"
    CARD_FULL = "the camera's card is full"
    NO_FILE = "no picture arrived in time"
    HALF_WRITTEN = "a picture arrived incomplete"
    NOT_KEPT = "a picture arrived but could not be saved here"
    UNDECIDED = "it is unclear which picture shows the shot"
    STOPPED = "somebody stopped the wait"


class CameraError(BeamfallError):
    """There is no picture of a shot; the message says what to do.

    Raised before the first shot of a series, or after several shots in a row without a picture. For a single shot a
    workflow's runner shows it and goes on: the shot is in the log, and so is what the board measured.
    """

    def __init__(self, problem: CameraProblem, message: str) -> None:
        self.problem = problem
        super().__init__(message)
