"""What `beamfall beam` knows about a beam, from its edges as they come."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from beamfall.setup.signals import Signal, SignalKind
from beamfall.setup.unit_words import format_duration
from beamfall.shots.pulses import PulseReader

if TYPE_CHECKING:
    from beamfall.events import Edge


@dataclass
class BeamView:
    """What is known about a beam; dwells in s."""

    number: int
    clock_hz: int
    is_dark: bool = False
    count: int = 0
    dwell_s: float | None = None
    longest_s: float = 0.0
    beeps: int = 0
    _reader: PulseReader = field(default_factory=PulseReader)

    @property
    def beam(self) -> Signal:
        """The beam looked at."""
        return SignalKind.BEAM.nth(self.number)

    def begin(self) -> None:
        """Start a new record, which has its own clock."""
        self._reader.finish()

    def take(self, edges: tuple[Edge, ...]) -> None:
        """Take in edges in the order of their times."""
        for edge in edges:
            if edge.signal is not self.beam:
                continue
            self.is_dark = bool(edge.level)
            if edge.level:
                self.count += 1
                self.beeps += 1
            pulse = self._reader.feed(edge.ticks, bool(edge.level))
            if pulse is not None and pulse.length is not None:
                self.dwell_s = pulse.length / self.clock_hz
                self.longest_s = max(self.longest_s, self.dwell_s)

    def describe(self) -> str:
        """One line."""
        dwell = "-" if self.dwell_s is None else format_duration(self.dwell_s)
        longest = "-" if self.dwell_s is None else format_duration(self.longest_s)
        state = "DARK " if self.is_dark else "clear"
        return (
            f"{self.beam.name}  {state}  count {self.count}  last dwell {dwell}  longest {longest}"
        )
