"""What was given is wrong: a value, a key, a file, or a place to write to."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from enum import Enum

from beamfall.errors.root import UserError


class BadRequest(UserError):
    """A request to the page that is not one whole JSON object. Nothing was done; send it again."""


@dataclass(frozen=True)
class KeyProblem:
    """One wrong key of a file: what was found there and what is expected.

    `key` is its path, entries counted from 1, as in `valve[1].height`; empty if the problem is
    with the whole file. `found` is the value as the file has it, None if the key is missing or
    unknown. `text` is the whole message for the user, `likely` what may have been meant, `low` and
    `high` the range that would do (SI units), where it is known.
    """

    key: str
    found: object
    expected: str
    text: str
    likely: tuple[str, ...] = ()
    low: float | None = None
    high: float | None = None


class PhysicsRangeError(UserError, ValueError):
    """A quantity lies outside the range in which a formula or a table holds.

    Raised instead of extrapolating. The message names the key, the value and the range; give a
    value inside it, or leave that calculation out. `key` is the key of the rig file, as in
    KeyProblem, where one is to blame. `quantity` is the name of what is out of range, `found` its
    value (a number is in SI units), `low` and `high` the range, None where it has no such end.
    """

    def __init__(
        self,
        message: str,
        *,
        key: str = "",
        quantity: str = "",
        found: object = None,
        low: float | None = None,
        high: float | None = None,
    ) -> None:
        super().__init__(message)
        self.key = key
        self.quantity = quantity
        self.found = found
        self.low = low
        self.high = high


class WrongValue(UserError):
    """An option, an argument or an answer is not one of those that can be; the message says what can.

    `of` names what was given, `found` is its value (a number is in SI units), `choices` are the words
    that would do, and `low` and `high` the range that would, where there is one.
    """

    def __init__(
        self,
        message: str,
        *,
        of: str,
        found: object,
        choices: Iterable[str] = (),
        low: float | None = None,
        high: float | None = None,
    ) -> None:
        super().__init__(message)
        self.of, self.found, self.choices = of, found, tuple(choices)
        self.low, self.high = low, high


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
    """A board's profile cannot be used; the message names the file, the pin or the limit, and the cure.

    `problems` holds one KeyProblem for each constant or pin that is wrong, in the order of the message.
    """

    def __init__(self, message: str, *, problems: tuple[KeyProblem, ...] = ()) -> None:
        super().__init__(message)
        self.problems = problems


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
        self.problem = problem
        super().__init__(message)


class BackupError(UserError):
    """A file that is not a backup of a board, or a board that did not keep what was restored."""
