"""How long a single drop, a test flash and a rinse may last on a board, in the user's units.

The board checks the same (firmware/beamfall_board/limits.py) and does not rely on this.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from beamfall.errors import UserError
from beamfall.setup.unit_words import format_duration, format_two_durations

if TYPE_CHECKING:
    from beamfall.link import Welcome


def check_opening(opening_s: float, board: Welcome) -> None:
    """Raise UserError unless a valve of this board may open for `opening_s` for one drop."""
    _check(
        "an opening",
        "a valve opens",
        opening_s,
        1 / board.clock_hz,
        board.valve_max_us / 1e6,
        board,
    )


def check_contact(contact_s: float, board: Welcome) -> None:
    """Raise UserError unless a flash contact of this board may close for `contact_s`."""
    _check("a contact", "it closes", contact_s, 1 / board.clock_hz, board.flash_max_us / 1e6, board)


def check_rinse(duration_s: float, board: Welcome) -> None:
    """Raise UserError unless this board holds a valve open for `duration_s`; it counts in milliseconds."""
    _check("rinsing", "a valve stays open", duration_s, 1e-3, board.rinse_max_ms / 1e3, board)


def _check(
    what: str, does: str, seconds: float, least_s: float, most_s: float, board: Welcome
) -> None:
    # Half a unit of the board's rounds up to one. What is not a number fails the comparison.
    if 0.5 * least_s < seconds <= most_s * (1.0 + 1e-9):
        return
    given, most = format_two_durations(seconds, most_s)
    raise UserError(
        f"{what} of {given}: on board '{board.name}' {does} for {format_duration(least_s)} to {most}"
    )
