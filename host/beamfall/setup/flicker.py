"""More flashes in a second than is safe to look at."""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING

from beamfall.setup.signals import SignalKind

if TYPE_CHECKING:
    from beamfall.setup.sequence import Row

# In any second: WCAG 2.2 (W3C, 2023), success criterion 2.3.1, for what a screen shows
SAFE_FLASHES = 3
_SECOND_S = 1.0
_ONE_S = 0.005  # flashes closer than this are one to the eye


def warn_of_flicker(rows: Iterable[Row]) -> str:
    """Return a warning if one shot's flashes may come more than three to a second; otherwise an empty text.

    Flashes at the same anchor are counted in every second. Those at different anchors, whose distance
    in time depends on the drops, count as coming in the same second.
    """
    moments: dict[tuple[str, int], list[float]] = {}
    for row in rows:
        if row.kind is SignalKind.FLASH:
            moments.setdefault((row.anchor, row.count), []).append(row.delay_s)
    most = sum(_count_most(sorted(delays)) for delays in moments.values())
    if most <= SAFE_FLASHES:
        return ""
    return (
        f"up to {most} flashes within a second: more than {SAFE_FLASHES} can trigger seizures in "
        "people with photosensitive epilepsy; fire fewer, or make sure that nobody else "
        "is in the room and look away"
    )


def _count_most(delays: list[float]) -> int:
    """The most flashes within one second; flashes that the eye sees as one count once."""
    apart: list[float] = []
    for delay in delays:
        if not apart or delay - apart[-1] >= _ONE_S:
            apart.append(delay)
    return max(sum(begin <= one < begin + _SECOND_S for one in apart) for begin in apart)
