"""How many shots one command or job may fire: the same at the terminal and on the page."""

from __future__ import annotations

from beamfall.errors import UserError

SHOTS_MOST = 10_000  # half a day and more: a higher number has a digit too many


def check_count(count: int, least: int = 1) -> int:
    """Return a number of shots; raises UserError for too few or too many."""
    if not least <= count <= SHOTS_MOST:
        raise UserError(f"{count} shots: expected {least} to {SHOTS_MOST}")
    return count
