"""The umbrella that a rig most likely makes: how wide at which time after the contact."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from beamfall.physics.liquids import Liquid
from beamfall.physics.umbrella import spreading_time, umbrella_age, umbrella_radius
from beamfall.planning.belief import Belief
from beamfall.planning.collision import draw_rigs, refuse_spacing
from beamfall.planning.openings import choose_times, find_need, split_places
from beamfall.planning.setting import make_setting
from beamfall.setup.rig import Rig

_DRAWS = 400
_BEFORE_S = 0.002  # over which the tip's speed counts: pictures taken before a contact show the gap some ms earlier
_FULL = 2.9  # spreading times after which the sheet is not a measure of time


@dataclass(frozen=True)
class Meeting:
    """Drop 2 and the jet where they meet, medians of the rigs that fit what is known.

    `speed_m_s`: of the drop against the tip. The errors are relative standard deviations.
    """

    diameter_m: float
    speed_m_s: float
    liquid: Liquid
    diameter_error: float
    speed_error: float


def find_meeting(rig: Rig, learned: Belief | None = None) -> Meeting:
    """Return how drop 2 and the jet of a rig most likely meet; raises as planning a collision does."""
    main = split_places(rig)[0]
    rigs = draw_rigs(main, make_setting(main), _DRAWS, learned)
    need = find_need(rigs)
    spacing_s = choose_times(rigs, need, main.list_fixed())[1]
    when, height = rigs.find_contact((0.0, spacing_s))
    second, jet = rigs.drop(2), rigs.jet
    tip_m_s = (jet.tip(when) - jet.tip(when - _BEFORE_S)) / _BEFORE_S
    speeds = (second.reach_lowest(height)[1] + tip_m_s)[np.isfinite(when)]
    if not speeds.size:
        refuse_spacing(rig, spacing_s, need)
    diameter, speed = float(np.median(second.diameter_m)), float(np.median(speeds))
    return Meeting(
        diameter,
        speed,
        second.setting.liquid,
        float(np.std(second.diameter_m)) / diameter,
        float(np.std(speeds)) / speed,
    )


def find_age(rig: Rig, width_m: float, learned: Belief | None = None) -> float | None:
    """Return the time after the contact in s at which the umbrella is so wide; None if it never is."""
    meeting = find_meeting(rig, learned)
    found = umbrella_age(0.5 * width_m, meeting.diameter_m, meeting.speed_m_s, meeting.liquid)
    return None if found is None else found[0]


def find_widest(rig: Rig, learned: Belief | None = None) -> float:
    """Return the width in m that the umbrella reaches."""
    meeting = find_meeting(rig, learned)
    full_s = _FULL * spreading_time(meeting.diameter_m, meeting.liquid)
    return 2.0 * umbrella_radius(full_s, meeting.diameter_m, meeting.speed_m_s, meeting.liquid)
