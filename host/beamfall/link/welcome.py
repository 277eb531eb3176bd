"""What a board reports about itself when a session opens."""

from __future__ import annotations

import struct
from collections.abc import Mapping
from dataclasses import dataclass, fields
from typing import Any

from beamfall.errors import DefinitionMismatch, ImplausibleBoard
from beamfall.link.strangers import make_mismatch
from beamfall.wire.messages import Message
from beamfall.wire.schema import Definition, WireEnum

# Far beyond any real board: a value outside would give nonsense or a division by zero.
_PLAUSIBLE = {
    "clock_hz": (10_000, 2_000_000_000),
    "stamp_ticks": (1, 0xFFFF),
    "rows_max": (1, 10_000),
    "duty_percent": (1, 100),
    "duty_window_ms": (1, 3_600_000),
    "valve_max_us": (1, 60_000_000),
    "flash_max_us": (1, 10_000_000),
    "window_max_ms": (1, 600_000),
}
_HEAD = struct.Struct("<B8sBBB")  # the fields of the welcome that never change


@dataclass(frozen=True, slots=True)
class Welcome:
    """The welcome's fields, typed; meanings and units are those of messages.toml."""

    protocol: int
    definition: bytes
    firmware_major: int
    firmware_minor: int
    firmware_patch: int
    boot_id: int
    unique_id: bytes
    clock_hz: int
    timing: WireEnum
    state: WireEnum
    cause: WireEnum
    last_release: int
    oldest_report: int
    stamp_ticks: int
    outputs: int
    inputs: int
    rows_max: int
    valve_max_us: int
    valve_gap_us: int
    duty_percent: int
    duty_window_ms: int
    rinse_max_ms: int
    flash_max_us: int
    flash_gap_us: int
    camera_max_ms: int
    window_max_ms: int
    earliest_ticks: int
    earliest_beam_ticks: int
    name: str

    @classmethod
    def from_message(cls, message: Message) -> Welcome:
        """Read a decoded welcome; fields that this class does not have are ignored.

        Raises ImplausibleBoard for a value that no board can have.
        """
        known: Mapping[str, Any] = message.fields
        for name, (least, most) in _PLAUSIBLE.items():
            if not least <= known[name] <= most:
                raise ImplausibleBoard(
                    f"the board reports {name} = {known[name]}, which no board can have "
                    f"({least} to {most}). Install its firmware again: `beamfall board install`",
                    field=name,
                )
        return cls(**{field.name: known[field.name] for field in fields(cls)})

    @property
    def firmware(self) -> str:
        """The firmware's version as people write it."""
        return f"{self.firmware_major}.{self.firmware_minor}.{self.firmware_patch}"

    def has(self, signal: int) -> bool:
        """Whether the board has that signal, as output or input."""
        return bool((self.outputs | self.inputs) >> signal & 1)

    def to_seconds(self, ticks: int) -> float:
        """Return a time on the board's clock in seconds."""
        return ticks / self.clock_hz


class OlderDefinition(DefinitionMismatch):
    """The board has an earlier definition that the library's only extends: a hello with `digest` opens a session."""

    def __init__(self, text: str, digest: bytes) -> None:
        super().__init__(text)
        self.digest = digest


def check_welcome_head(payload: bytes, definition: Definition, asked: bytes) -> None:
    """Check the fields of a welcome that every version has, before reading the rest; `asked`: the hello's digest.

    Raises ProtocolMismatch or DefinitionMismatch, with the cure; OlderDefinition if another hello helps.
    """
    if len(payload) < _HEAD.size:
        return
    protocol, digest, major, minor, patch = _HEAD.unpack_from(payload)
    if protocol != definition.protocol:
        raise make_mismatch(protocol, definition.protocol)
    if digest == asked:
        return
    text = (
        f"the board's firmware {major}.{minor}.{patch} was built from another messages.toml "
        f"(digest {digest.hex()}, this library's {definition.digest.hex()}); "
        "install the firmware that comes with this library: `beamfall board install`"
    )
    if definition.find_added(digest) is not None:
        raise OlderDefinition(text, digest)
    raise DefinitionMismatch(text)
