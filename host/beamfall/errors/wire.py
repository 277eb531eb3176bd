"""Messages, their bytes, and the definition that both are made from."""

from __future__ import annotations

from beamfall.errors.root import BeamfallError


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
        self.where = where
        self.names = names
        self._problem = problem
        super().__init__(f"{where}: {problem}" if where else problem)

    def explain(self, why: str) -> MessageError:
        """The same error, with more about what is wrong."""
        return MessageError(f"{self._problem}{why}", where=self.where, names=self.names)


class CobsError(BeamfallError, ValueError):
    """Bytes are not a COBS block; `zero_inside` tells a stray 0x00 from a code byte that lies."""

    def __init__(self, message: str, *, zero_inside: bool = False) -> None:
        super().__init__(message)
        self.zero_inside = zero_inside
