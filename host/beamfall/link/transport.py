"""What a link needs of the way to a board: bytes both ways and a clock."""

from __future__ import annotations

from typing import Protocol

from beamfall.link.traits import PortTraits


class Transport(Protocol):
    """A stream of bytes each way. It may lose, damage or chop bytes; the link sees to that.

    Every method raises LinkLost when the way itself is gone, as when a cable is pulled.
    """

    @property
    def name(self) -> str:
        """What messages to people call it: `/dev/ttyACM0`, `sim`."""

    @property
    def traits(self) -> PortTraits:
        """What it says about time and chance: `traits.REAL` for a real port; a wrapper hands on those inside."""

    def read(self, timeout_s: float) -> bytes:
        """Return the bytes that are there, waiting at most `timeout_s` for the first one."""

    def write(self, data: bytes) -> None:
        """Send all of `data`."""

    def clock(self) -> float:
        """Return seconds on the clock that time-outs count on: virtual in a simulation."""

    def sleep(self, seconds: float) -> None:
        """Let `seconds` of that clock pass."""

    def close(self) -> None:
        """Let go of the port; calling it twice is harmless."""
