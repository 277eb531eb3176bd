"""Which moment of the splash is wanted, from the text that people give for it: a time, or what the picture shows."""

from __future__ import annotations

import re

from beamfall.errors import UserError
from beamfall.planning.belief import Belief
from beamfall.setup.rig import Rig
from beamfall.setup.units import parse_duration, parse_length

EARLIEST_S, LATEST_S = -0.05, 0.2  # far outside what a collision lasts (our choice)
_LOOK = re.compile(
    r"(?:umbrella\s+)?(?:(?P<a>\S+(?:\s+[a-z]+)?)\s+wide|width\s+(?P<b>.+))|umbrella\s+(?P<c>.+)",
    re.I,
)
_WIDTHS_M = (0.001, 0.3)


def read_stage(text: str | None, *, key: str = "stage") -> float | None:
    """Return when the light is to come after the contact, in s, or None if nothing is given.

    `text` carries its unit, such as '2 ms'; `key` is what a message calls it. Raises UserError for
    a text that is not a duration and for one outside EARLIEST_S to LATEST_S.
    """
    if text is None:
        return None
    stage_s = parse_duration(text.removesuffix(" after contact"), key=key, example="2 ms")
    if not EARLIEST_S <= stage_s <= LATEST_S:
        raise UserError(f"{key} = {text}: expected -50 ms to 200 ms from the contact")
    return stage_s


def read_width(text: str, *, key: str = "stage") -> float | None:
    """Return the umbrella's width, rim to rim, in m, of a text such as 'umbrella 15 mm wide'; None for another text.

    Raises UserError for a width that cannot be, and for an umbrella without one.
    """
    if text.strip().lower() == "umbrella":
        raise UserError(
            f'{key} = {text}: how wide? Write "umbrella 15 mm wide", or a time after the contact, such as "2 ms"'
        )
    found = _LOOK.fullmatch(text.strip())
    if found is None:
        return None
    given = found["a"] or found["b"] or found["c"]
    width_m = parse_length(given, key=key, example="umbrella 15 mm wide")
    if not _WIDTHS_M[0] <= width_m <= _WIDTHS_M[1]:
        raise UserError(f"{key} = {text}: expected an umbrella 1 to 300 mm wide")
    return width_m


def find_stage(
    text: str | None, rig: Rig, *, key: str = "stage", learned: Belief | None = None
) -> float | None:
    """Return the wanted moment after the contact in s, given as a time or by the umbrella's width; None: nothing given.

    A width becomes a time by `physics.umbrella`, with the drop and the speed that this rig most likely has. Raises
    UserError for a text that is neither, for a rig that aims at no collision, and for an umbrella that it never makes.
    """
    width_m = None if text is None else read_width(text, key=key)
    if width_m is None:
        return read_stage(text, key=key)
    if rig.aim.kind != "collision":
        raise UserError(
            f"{key} = {text}: this rig's aim is a {rig.aim.kind}, which has no umbrella"
        )
    # numpy is slow to load
    from beamfall.planning.umbrella import find_age, find_widest

    age_s = find_age(rig, width_m, learned)
    if age_s is None:
        widest = find_widest(rig, learned)
        raise UserError(
            f"{key} = {text}: on this rig an umbrella gets no wider than about {widest * 1e3:.0f} mm. "
            "Larger or faster drops make it wider"
        )
    return age_s
