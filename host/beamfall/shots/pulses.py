"""Which shadow in a beam is which drop's."""

from __future__ import annotations

from collections.abc import Sequence
from statistics import median

SHORT_DWELL = 0.6  # of the usual dwell: a shorter dark is a satellite, not a drop (our choice)
_CLOSE_S = 0.02  # a drop further from where it is expected than this is another one (our choice)

Pulse = tuple[float, float | None]
"""When a beam went dark, in s from the release, and for how long; None: it was not seen to clear."""


def find_transit(
    shots: Sequence[tuple[Sequence[float], Sequence[Pulse]]], shortest_s: float
) -> float | None:
    """Return the usual time from an opening to the beam, in s.

    `shots` are openings and pulses of each; those count that show as many drops (no dwell below
    `shortest_s`) as openings. None where there is no such shot.
    """
    times = []
    for openings, pulses in shots:
        whole = [dark for dark, dwell in pulses if dwell is None or dwell >= shortest_s]
        if len(whole) == len(openings):
            times += [dark - opened for dark, opened in zip(whole, openings, strict=True)]
    return median(times) if times else None


def assign_pulses(
    openings: Sequence[float], pulses: Sequence[Pulse], transit_s: float | None
) -> list[Pulse | None]:
    """Give each opening the pulse that is nearest to where its drop is expected, or none."""
    if transit_s is None or len(pulses) == len(openings):
        filled = list(pulses[: len(openings)])
        return [*filled, *[None] * (len(openings) - len(filled))]
    found: list[Pulse | None] = [None] * len(openings)
    pairs = sorted(
        (abs(pulse[0] - opened - transit_s), number, index)
        for number, opened in enumerate(openings)
        for index, pulse in enumerate(pulses)
    )
    used: set[int] = set()
    for distance, number, index in pairs:
        if distance < _CLOSE_S and found[number] is None and index not in used:
            found[number] = pulses[index]
            used.add(index)
    return found
