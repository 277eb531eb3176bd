"""The one reader of edges: the edges of a line become pulses, and the pulses of a beam become drops.

A pulse is a time during which a line was not at rest: a beam dark, an output or a light on.

The reader never guesses a missing end:
- If a line comes to rest without having left it, its pulse began before the record, or an edge was lost:
  the pulse has an end and no start.
- If a line leaves its rest again without having come back, an edge was lost: the earlier pulse has a start
  and no end. So does a pulse that is still open when the record ends.
- Only a pulse with both ends has a length. A drop is a pulse whose start was seen: it has arrived,
  even if nobody knows how long it took.
"""

from __future__ import annotations

from collections.abc import Hashable, Iterable, Sequence
from dataclasses import dataclass
from statistics import median
from typing import TypeVar

from beamfall.events import Edge
from beamfall.setup.signals import Signal, SignalKind
from beamfall.shots.record import EdgeRecord

SHORT_DWELL = 0.6  # of the usual dwell: a shorter dark is a satellite, not a drop (our choice)
_CLOSE_S = 0.02  # a drop further from where it is expected than this is another one (our choice)

_Line = TypeVar("_Line", bound=Hashable)


@dataclass(frozen=True, slots=True)
class Pulse:
    """From `start` to `end`, in the unit of the edges it was read from; None: that end was not seen."""

    start: float | None
    end: float | None

    @property
    def length(self) -> float | None:
        """How long it lasted; None unless both ends were seen."""
        if self.start is None or self.end is None:
            return None
        return self.end - self.start


class PulseReader:
    """Reads the edges of one line as they come. Each pulse is returned once, when its last edge is known."""

    def __init__(self) -> None:
        self._start: float | None = None

    def feed(self, time: float, active: bool) -> Pulse | None:
        """Take the next edge, after which the line is `active` or at rest; return the pulse it completes."""
        start, self._start = self._start, time if active else None
        if active:
            return None if start is None else Pulse(start, None)
        return Pulse(start, time)

    def finish(self) -> Pulse | None:
        """End the record; return the pulse that is still open."""
        start, self._start = self._start, None
        return None if start is None else Pulse(start, None)


def read_pulses(edges: Iterable[tuple[float, bool]]) -> list[Pulse]:
    """Return the pulses of one line; `edges` are (time, whether the line is active after it), in order."""
    return read_lines(("", time, active) for time, active in edges).get("", [])


def read_lines(edges: Iterable[tuple[_Line, float, bool]]) -> dict[_Line, list[Pulse]]:
    """Return the pulses of each line; `edges` are (line, time, active) in the order of their times."""
    readers: dict[_Line, PulseReader] = {}
    found: dict[_Line, list[Pulse]] = {}
    for line, time, active in edges:
        if line not in readers:
            readers[line], found[line] = PulseReader(), []
        pulse = readers[line].feed(time, active)
        if pulse is not None:
            found[line].append(pulse)
    for line, reader in readers.items():
        pulse = reader.finish()
        if pulse is not None:
            found[line].append(pulse)
    return found


def find_times(
    edges: Iterable[Edge | EdgeRecord], of: Signal | SignalKind, level: int = 1
) -> list[int]:
    """Return when a line, or the lines of a kind, were seen to go to `level` (1: on, or dark): ticks in order."""
    return sorted(
        edge.ticks
        for edge in edges
        if of in (edge.signal, edge.signal.kind) and edge.level == level and edge.ticks is not None
    )


@dataclass(frozen=True, slots=True)
class Arrival:
    """A drop in a beam: when the beam went dark, in s from the release, and for how long."""

    dark_s: float
    dwell_s: float | None  # None: it was not seen to leave


def find_usual_dwell(pulses: Iterable[Pulse]) -> float:
    """Return the median length of the pulses with both ends; 0 if there are none."""
    return median([pulse.length for pulse in pulses if pulse.length is not None] or [0.0])


def is_satellite(pulse: Pulse, usual_s: float) -> bool:
    """Whether a pulse is too short for a drop: a satellite behind one, or a bounce of the beam."""
    return pulse.length is not None and pulse.length < SHORT_DWELL * usual_s


def find_drops(pulses: Iterable[Pulse], usual_s: float) -> list[Arrival]:
    """Return the drops among the pulses of a beam, in s; `usual_s` is the usual dwell."""
    return [
        Arrival(pulse.start, pulse.length)
        for pulse in pulses
        if pulse.start is not None and not is_satellite(pulse, usual_s)
    ]


def find_transit(shots: Sequence[tuple[Sequence[float], Sequence[Arrival]]]) -> float | None:
    """Return the usual time from an opening to the beam, in s.

    `shots` are openings and drops of each; those count that show as many drops as openings.
    None if there is no such shot.
    """
    times = [
        drop.dark_s - opened
        for openings, drops in shots
        if len(drops) == len(openings)
        for drop, opened in zip(drops, openings, strict=True)
    ]
    return median(times) if times else None


def assign_drops(
    openings: Sequence[float], drops: Sequence[Arrival], transit_s: float | None
) -> list[Arrival | None]:
    """Give each opening the drop that is nearest to where it is expected, or none."""
    if transit_s is None or len(drops) == len(openings):
        filled = list(drops[: len(openings)])
        return [*filled, *[None] * (len(openings) - len(filled))]
    found: list[Arrival | None] = [None] * len(openings)
    pairs = sorted(
        (abs(drop.dark_s - opened - transit_s), number, index)
        for number, opened in enumerate(openings)
        for index, drop in enumerate(drops)
    )
    used: set[int] = set()
    for distance, number, index in pairs:
        if distance < _CLOSE_S and found[number] is None and index not in used:
            found[number] = drops[index]
            used.add(index)
    return found
