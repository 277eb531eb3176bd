"""Bounds of the numbers that commands take."""

from __future__ import annotations

import typer

from beamfall.errors import UserError
from beamfall.setup.unit_words import format_duration
from beamfall.setup.units import parse_duration
from beamfall.workflows.counts import check_count

WHOLE_MOST = 2**63 - 1  # an integer of SQLite, in which the shot log keeps seeds and counts
REST_MOST_S = 600.0  # as aim.rest of a rig file


def check_whole(number: int | None) -> int | None:
    """Return a number that the shot log can keep. A check of its own: a bound in `--help` would only puzzle people."""
    if number is not None and number > WHOLE_MOST:
        raise typer.BadParameter(f"{number} is too large; the largest is 2^63 - 1")
    return number


def check_shots(count: int) -> int:
    """`check_count` in the form that an option calls."""
    return check_count(count)


def read_rest(text: str | None, *, key: str = "--rest") -> float | None:
    """Return the time between shots in s, None if none is given; raises UserError outside 0 to 10 minutes."""

    if text is None:
        return None
    rest_s = parse_duration(text, key=key, example="5 s")
    if not 0.0 <= rest_s <= REST_MOST_S:
        raise UserError(f"{key} = {text}: expected 0 s to {format_duration(REST_MOST_S)}")
    return rest_s
