"""Messages, their bytes, and the definition that both are made from."""

from __future__ import annotations

from beamfall.errors.root import BeamfallError


class DefinitionError(BeamfallError):
    """protocol/messages.toml contradicts itself; the message names the entry."""


class StaleFiles(BeamfallError):
    """Generated files are older than messages.toml: run `python -m beamfall.wire.regenerate`."""


class MessageError(BeamfallError, ValueError):
    """A message's fields or payload do not fit its definition; the message names the field."""


class CobsError(BeamfallError, ValueError):
    """Bytes are not a COBS block; `zero_inside` tells a stray 0x00 from a code byte that lies."""

    def __init__(self, message: str, *, zero_inside: bool = False) -> None:
        super().__init__(message)
        self.zero_inside = zero_inside
