"""The shot log: it cannot be opened, read or written, or does not hold what was asked for."""

from __future__ import annotations

from beamfall.errors.root import BeamfallError, UserError


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
