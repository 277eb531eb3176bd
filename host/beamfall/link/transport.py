"""What a link needs to reach a board: bytes both ways and a clock."""

from __future__ import annotations

from typing import Protocol

from beamfall.link.traits import PortTraits


class Transport(Protocol):
    """A stream of bytes each way. It may lose, damage or split bytes; the link copes with that.

    Every method raises LinkLost when the connection is gone, as when a cable is pulled.
    """

    @property
    def name(self) -> str:
        """Its name in messages to people: `/dev/ttyACM0`, `sim`."""

    @property
    def traits(self) -> PortTraits:
        """Its time and chance: `traits.REAL` for a real port; a wrapper returns those of the inner transport."""

    def read(self, timeout_s: float) -> bytes:
        """Return the bytes received so far; wait at most `timeout_s` for the first one."""

    def write(self, data: bytes) -> None:
        """Send all of `data`."""

    def clock(self) -> float:
        """Return seconds on the clock for timeouts, which is virtual in a simulation."""

    def sleep(self, seconds: float) -> None:
        """Let `seconds` of that clock pass."""

    def close(self) -> None:
        """Close the port; calling it twice is harmless."""
