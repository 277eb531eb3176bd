"""Which moment of the splash is wanted, from the text that people give for it."""

from __future__ import annotations

from beamfall.errors import UserError
from beamfall.setup.units import parse_duration

EARLIEST_S, LATEST_S = -0.05, 0.2  # far outside what a collision lasts (our choice)


def read_stage(text: str | None, *, key: str = "stage") -> float | None:
    """Return when the light is to come after the contact, in s, or None where nothing is given.

    `text` carries its unit, such as '2 ms'; `key` is what a message calls it. Raises UserError for
    a text that is no duration and for one outside EARLIEST_S to LATEST_S.
    """
    if text is None:
        return None
    stage_s = parse_duration(text, key=key, example="2 ms")
    if not EARLIEST_S <= stage_s <= LATEST_S:
        raise UserError(f"{key} = {text}: expected -50 ms to 200 ms from the contact")
    return stage_s
