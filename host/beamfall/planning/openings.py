"""When each drop of a shot must leave its valve: drop 1 throws the jet, drop 2 meets it, later ones the umbrella."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from beamfall.arrays import Floats
from beamfall.physics.umbrella import LIFE_S
from beamfall.planning.draws import Draws
from beamfall.planning.result import PlannedDrop, Role, make_interval
from beamfall.setup.rig import Rig
from beamfall.setup.rig_sections import Valve, is_same_place

MEETING = 0.75  # of the jet's rise, when drop 2 meets it: above 90 % of its height (our choice)
THIRD_S = 0.025  # from a contact to the next drop's: the umbrella is open then (our choice)
LATEST_S = 0.75 * LIFE_S  # a later one would surely find an umbrella only on few rigs (our choice)
REFORM_S = 0.008  # a nozzle takes this long to form a new neck (estimate; as in the simulated rig)
# A valve closes and opens again: a board and a coil need a little more (our choice).
_SPARE_S = 0.002


def find_role(number: int) -> Role:
    """The role of drop `number` of its place, from 1."""
    return (Role.SPLASH, Role.COLLISION)[number - 1] if number < 3 else Role.UMBRELLA


@dataclass(frozen=True)
class Need:
    """What each rig needs for the wanted picture: arrays, one element a rig.

    `openings_s`: of drop 2 and each later one, since opening 1. `contact_s`: of the last drop, since then too.
    """

    openings_s: tuple[Floats, ...]
    contact_s: Floats

    @property
    def spacing_s(self) -> Floats:
        """Opening 1 to opening 2."""
        return self.openings_s[0]

    @property
    def times_s(self) -> tuple[Floats | float, ...]:
        """All openings, the first one at 0."""
        return (0.0, *self.openings_s)


def find_gap(valves: tuple[Valve, ...], number: int) -> float:
    """From the contact of the drop before to that of drop `number` (3 and later): as early as its valve can."""
    valve, before = valves[number - 1], valves[number - 2]
    if valve.output != before.output:
        return THIRD_S
    return min(max(THIRD_S, before.opening_s + REFORM_S + _SPARE_S), LATEST_S)


def find_need(rigs: Draws) -> Need:
    """What each rig needs to meet its jet at MEETING, and its umbrella soon after; the top of the jet for one drop."""
    later = rigs.values["contact_offset_s"]
    if len(rigs.drops) == 1:
        return Need((), rigs.impact_s + rigs.onset_s + rigs.rise_s)
    meeting = rigs.impact_s + rigs.onset_s + MEETING * rigs.rise_s
    height = rigs.jet.tip(meeting)
    contact, openings = meeting, []
    for number in range(2, len(rigs.drops) + 1):
        if number > 2:
            contact = contact + find_gap(rigs.valves, number)
        drop = rigs.drop(number)
        openings.append(contact - drop.reach_lowest(height)[0] - drop.latency_s)
    return Need(tuple(openings), contact + later)


def choose_times(
    rigs: Draws, need: Need, fixed: tuple[float | None, ...], spacing_s: float | None = None
) -> tuple[float, ...]:
    """The opening of each drop since the first: as fixed, or else the median of what the rigs need.

    `spacing_s`: of drop 2, where it is known. A later drop follows the contact that drop 2 really makes.
    """
    times = [0.0]
    for place, opening in enumerate(need.openings_s, 1):
        set_s = fixed[place] if place < len(fixed) else None
        if set_s is None and place == 1:
            set_s = spacing_s
        if set_s is not None:
            times.append(set_s)
        elif place == 1:
            times.append(max(0.0, float(np.median(opening))))
        else:
            contact, height = rigs.find_contact(tuple(times))
            times.append(find_follower(rigs, place + 1, contact, height, need))
    return tuple(times)


def find_follower(
    rigs: Draws,
    number: int,
    contact_s: Floats,
    height_m: Floats,
    need: Need,
    weights: Floats | None = None,
) -> float:
    """When drop `number` (3 or later) must leave so that it follows a contact; without one, as the need says."""
    met = np.isfinite(contact_s)
    drop = rigs.drop(number)
    fall = drop.reach_lowest(np.where(met, height_m, 0.01))[0]
    after = contact_s - rigs.values["contact_offset_s"] + find_gap(rigs.valves, number)
    opening = np.where(met, after - fall - drop.latency_s, need.openings_s[number - 2])
    if weights is None:
        return max(0.0, float(np.median(opening)))
    return max(0.0, float(quantiles(opening, weights, (0.5,))[0]))


def quantiles(values: Floats, weights: Floats, shares: tuple[float, ...]) -> Floats:
    """Quantiles of weighted values."""
    order = np.argsort(values)
    reached = np.cumsum(weights[order])
    result: Floats = np.interp(np.array(shares) * reached[-1], reached, values[order])
    return result


def list_planned(
    rig: Rig, times_s: tuple[float, ...], need: Need | None, *, first: int = 1, start_s: float = 0.0
) -> list[PlannedDrop]:
    """The drops of one place; `first` is the number of the first one, `start_s` its opening in the shot."""
    fixed = rig.list_fixed()
    drops = []
    for place, (valve, at_s) in enumerate(zip(rig.list_drops(), times_s, strict=False)):
        needs = None if need is None or place == 0 else make_interval(need.openings_s[place - 1])
        is_fixed = place > 0 and place < len(fixed) and fixed[place] is not None
        role = find_role(place + 1)
        drops.append(PlannedDrop(first + place, role, valve, start_s + at_s, needs, is_fixed))
    return drops


def split_places(rig: Rig) -> list[Rig]:
    """The rig, once for each place where its drops fall; drop 1's place first.

    With [[drop]] tables each place has the drops of its own valves; else each place has all drops.
    """
    chosen = rig.list_drops() if rig.drops else rig.valves
    left, places = list(chosen), []
    while left:
        place = left[0].place_m
        here = [valve for valve in left if is_same_place(valve.place_m, place)]
        left = [valve for valve in left if valve not in here]
        outputs = {valve.output for valve in here}
        valves = tuple(valve for valve in rig.valves if valve.output in outputs)
        alone = replace(rig, valves=valves)
        if rig.drops:
            own = tuple(
                replace(drop, valve=valve.output)
                for drop, valve in zip(rig.drops, chosen, strict=False)
                if valve.output in outputs
            )
            alone = replace(alone, drops=own).with_aim(drops=len(own))
        places.append(alone)
    return places
