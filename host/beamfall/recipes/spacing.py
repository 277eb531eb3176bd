"""The spacing with which another rig shows a recipe's collision.

Where drop 2 meets the jet early in its rise, the contact's time depends less on how high this rig's jet goes. The
spacing may therefore be shorter than the recipe's moment asks for, the more so the less is known about this jet. Once
a search has shown how high it goes, drop 2 meets it near the recipe's own moment.

Two other choices were measured on 600 hidden rigs in each of two worlds, and left. The surest moment of all lies at 0.4
of the jet's height instead of 0.6: one or two more first pictures in a hundred come within 3 ms, but the umbrella then
sits still further below the recipe's. And a light at the densest 6 ms of all contacts instead of at their median makes
no difference that could be told from chance. What is left comes from the beam's height (1.3 ms), the jet's (1.0 ms) and
the drop's volume (0.8 ms).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from beamfall.arrays import Floats
from beamfall.planning.draws import Draws
from beamfall.planning.result import Interval, make_interval
from beamfall.planning.seek.weighted_rigs import TALL
from beamfall.recipes.recipe import Events

_LEAST_MEETING, _MOST_MEETING = 0.05, 1.9  # shares of the rise between which a jet stands
_GRID = 0.01  # of the rise
_STEPS = 6
#: A first picture this near to the stage is worth continuing from (our choice).
CLOSE_S = 0.003
_WORTH = 0.01  # of the chance: for less the recipe's own moment is kept
_LEAST_S, _MOST_S = 0.005, 2.0


@dataclass(frozen=True)
class Meeting:
    """When drop 2 is to meet the jet, as a share of its rise, and the spacing for that: of each rig, and to take.

    `chance`: that a light aimed at the middle rig's contact comes within CLOSE_S of this one's.
    """

    moment: float
    interval: Interval
    spacing_s: float
    chance: float


def need_spacing(rigs: Draws, meeting: Floats | float) -> Floats:
    """The spacing with which each rig's drop 2 meets the jet at a share of its rise."""
    met = rigs.impact_s + rigs.onset_s + meeting * rigs.rise_s
    second = rigs.drop(2)
    fall, _ = second.reach_lowest(np.maximum(rigs.jet.tip(met), 0.0))
    result: Floats = met - fall - second.latency_s
    return result


def make_meeting(rigs: Draws, events: Events) -> Meeting:
    """Return the meeting at the recipe's own moment."""
    return _make(rigs, _bound(events.moment))


def choose_meeting(rigs: Draws, events: Events) -> Meeting:
    """Return the meeting with the surest time of contact, of those that may be taken for the recipe's own.

    Drop 2 may meet the jet lower or higher by the standard error of this jet's height: so much the height of the
    contact is unknown in any case. It stays high on the jet, as a search understands it, where it is so in the recipe.
    """
    own = _bound(events.moment)
    best = _make(rigs, own)
    for moment in _list_alike(rigs, own)[1:]:
        meeting = _make(rigs, moment)
        if meeting.chance > best.chance + _WORTH:
            best = meeting
    return best


def find_leeway(rigs: Draws) -> float:
    """By what share of the jet's height drop 2 may meet it lower or higher: the standard error of that height."""
    return float(np.std(np.log(rigs.height_m)))


def find_height(rigs: Draws, moment: float) -> float:
    """How high the tip is then, over the jet's height."""
    tip = rigs.jet.tip(rigs.impact_s + rigs.onset_s + moment * rigs.rise_s)
    return float(np.median(tip / rigs.height_m))


def _list_alike(rigs: Draws, own: float) -> list[float]:
    """The recipe's own moment first, then some around it, each way in steps to the last one that is near enough."""
    height, leeway = find_height(rigs, own), find_leeway(rigs)
    least = max(height - leeway, min(height, TALL))
    alike = [own]
    for step in (-_GRID, _GRID):
        end = own
        while _LEAST_MEETING <= end + step <= _MOST_MEETING:
            if not least <= find_height(rigs, end + step) <= height + leeway:
                break
            end += step
        alike += [float(one) for one in np.linspace(own, end, _STEPS)[1:]]
    return alike


def _bound(moment: float) -> float:
    return min(max(moment, _LEAST_MEETING), _MOST_MEETING)


def _make(rigs: Draws, moment: float) -> Meeting:
    interval = make_interval(need_spacing(rigs, moment))
    spacing_s = min(max(interval.p50, _LEAST_S), _MOST_S)
    return Meeting(moment, interval, spacing_s, _find_chance(rigs, spacing_s))


def _find_chance(rigs: Draws, spacing_s: float) -> float:
    """How many rigs have their contact within CLOSE_S of the middle one's; times count from drop 2's own edge."""
    when, _ = rigs.find_contact((0.0, spacing_s))
    second = rigs.drop(2)
    # The release where no beam sees it.
    edge = np.nan_to_num(spacing_s + second.latency_s + second.to_edge_s)
    since = when - edge
    if not np.isfinite(since).any():
        return 0.0
    return float(np.mean(np.abs(since - np.nanmedian(since)) < CLOSE_S))
