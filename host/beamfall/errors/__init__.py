"""Every error Beamfall raises, in one tree.

BeamfallError                 root; the command line exits 1
├── UserError                 a mistake in what was given; the command line exits 2
│   ├── BadRequest            a request to the page that cannot be read in full
│   ├── PhysicsRangeError     a quantity outside the range a formula holds for; also a ValueError
│   ├── WrongValue            a value, a word or a name that is none of those expected
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

from beamfall.errors.given import (
    BackupError,
    BadRequest,
    BoardProfileError,
    FileWriteError,
    ImageError,
    ImageProblem,
    KeyProblem,
    PhysicsRangeError,
    RecipeError,
    RigFileError,
    SequenceError,
    UnitError,
    WrongValue,
)
from beamfall.errors.link import (
    AnotherBoard,
    AtPrompt,
    DefinitionMismatch,
    ImplausibleBoard,
    LinkError,
    LinkLost,
    NoAnswer,
    NotABoard,
    NotOpen,
    PortBusy,
    PortDenied,
    PortNotFound,
    PortSyntaxError,
    ProtocolMismatch,
    Refused,
)
from beamfall.errors.log import LogDamaged, LogError, LogNewer, LogReadOnly, NoSuchShot
from beamfall.errors.missing import InterpreterMissing, MissingExtra, ResourceMissing
from beamfall.errors.root import FRAMES, BeamfallError, UserError
from beamfall.errors.wire import CobsError, DefinitionError, MessageError, StaleFiles
from beamfall.errors.work import (
    BenchError,
    BoardRestarted,
    CalibrationError,
    CameraError,
    CameraProblem,
    InstallError,
    MeasureError,
    NoProgress,
    PictureError,
    ReleaseUnknown,
    ShotError,
)

__all__ = [
    "AnotherBoard",
    "AtPrompt",
    "BackupError",
    "BadRequest",
    "BeamfallError",
    "BenchError",
    "BoardProfileError",
    "BoardRestarted",
    "CalibrationError",
    "CameraError",
    "CameraProblem",
    "CobsError",
    "DefinitionError",
    "DefinitionMismatch",
    "FRAMES",
    "FileWriteError",
    "ImageError",
    "ImageProblem",
    "ImplausibleBoard",
    "InstallError",
    "InterpreterMissing",
    "KeyProblem",
    "LinkError",
    "LinkLost",
    "LogDamaged",
    "LogError",
    "LogNewer",
    "LogReadOnly",
    "MeasureError",
    "MessageError",
    "MissingExtra",
    "NoAnswer",
    "NoProgress",
    "NoSuchShot",
    "NotABoard",
    "NotOpen",
    "PhysicsRangeError",
    "PictureError",
    "PortBusy",
    "PortDenied",
    "PortNotFound",
    "PortSyntaxError",
    "ProtocolMismatch",
    "RecipeError",
    "Refused",
    "ReleaseUnknown",
    "ResourceMissing",
    "RigFileError",
    "SequenceError",
    "ShotError",
    "StaleFiles",
    "UnitError",
    "UserError",
    "WrongValue",
]
