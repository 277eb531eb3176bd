"""The plan of a collision: when to open, when to flash, and how sure that is.

Drop 2 is to meet the jet of drop 1 late in its rise: the tip then has nearly its full height, is
slow, so that the moment of contact depends little on the jet, and still moves against the drop.
The flash comes `stage_s` after the last contact. A third drop strikes the umbrella that drop 2 made, each
further one that of the drop before. Valves in one place take turns, or as the [[drop]] tables say; valves
in other places make pictures of their own, at the same moment. Times count from drop 1's valve opening
unless a name says otherwise.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from functools import lru_cache
from typing import NoReturn

import numpy as np

from beamfall.arrays import Floats
from beamfall.errors import KeyProblem, RigFileError
from beamfall.planning.belief import Belief
from beamfall.planning.draws import Draws, draw_z, make_draws
from beamfall.planning.light import aim_light, build_plan, choose_stage, find_base
from beamfall.planning.openings import Need, choose_times, find_need, list_planned, split_places
from beamfall.planning.result import (
    Caution,
    CautionKind,
    Plan,
    PlannedDrop,
    make_interval,
)
from beamfall.planning.retime import warn_of_delay, warn_outside
from beamfall.planning.setting import Setting, make_setting
from beamfall.planning.unknowns import NAMES, make_jet_prior
from beamfall.setup.rig import Rig

DRAWS = 4000
WIDER = 1.1  # intervals are this much wider than the models ask for, since models are wrong too
_LEAST_DELAY_S = 0.001
_LEAST_CHANCE = 0.01  # of rigs that fit the file: with fewer whose drops meet, the openings are a mistake (our choice)
_SEED = 20_240_229  # the plan of a rig is the same each time it is asked for


def plan_collision(
    rig: Rig,
    *,
    stage_s: float | None = None,
    learned: Belief | None = None,
    draws: int = DRAWS,
    traced: bool = False,
) -> Plan:
    """Plan a collision of two or more drops for a rig.

    `stage_s`: when the light is to come after the last contact (the rig's aim, else `light.STAGE_S`).
    `learned`: what seeking and calibrating have shown of this rig. `traced`: with what a picture of the plan is
    drawn from. Values that the rig's aim or a [[drop]] fixes are kept.
    Raises RigFileError if the rig has no flash or asks for the impossible, PhysicsRangeError
    where its figures leave the range of the physics.
    """
    check_rig(rig)
    places = split_places(rig)
    main = places[0]
    stage_s = choose_stage(rig, stage_s)
    rigs = draw_rigs(main, make_setting(main), draws, learned)
    need = find_need(rigs)
    recalled = learned.recall_spacing(main) if learned is not None else None
    times = choose_times(rigs, need, main.list_fixed(), recalled)
    event, _ = rigs.find_contact(times)
    chance = float(np.mean(np.isfinite(event)))
    if chance < _LEAST_CHANCE:
        _refuse_times(rig, times, need)
    light = aim_light(main, rigs, times, event, stage_s)
    ideal = need.contact_s + stage_s - rigs.flash_latency_s
    to_first_edge = rigs.first.latency_s + rigs.first.to_edge_s
    intervals = {
        "nozzle_to_beam": rigs.first.to_edge_s,
        "beam_to_surface": rigs.first.to_surface_s - rigs.first.to_edge_s,
        "jet_onset": rigs.onset_s,
        "spacing": need.spacing_s,
        "flash_delay": ideal - find_base(rigs, main, light.anchor, need.times_s),
        "flash_after_first_edge": ideal - to_first_edge,
        "flash_delay_at_planned_spacing": light.flash_s,
        "jet_rise": rigs.rise_s,
    }
    for number in range(3, len(times) + 1):
        gap = need.times_s[number - 1] - need.times_s[number - 2]
        intervals[f"spacing_to_drop_{number}"] = np.asarray(gap)
    quantities = {
        "jet_height_mm": rigs.height_m,
        "drop_diameter_mm": rigs.first.diameter_m,
        "impact_speed_m_s": rigs.first.impact_speed_m_s * 1e-3,
    }
    drops = list_planned(main, times, need)
    drops, shift = add_places(places[1:], float(np.nanmedian(event)), drops, learned, draws=draws)
    return build_plan(
        rig,
        light,
        drops=drops,
        shift_s=shift,
        intervals=intervals,
        quantities=quantities,
        chance=chance,
        wishes=_about_wishes(main, need, light.flash_s),
        learned=learned,
        traced=traced,
    )


def check_rig(rig: Rig) -> None:
    """Refuse a rig for which no plan is possible."""
    if not rig.flashes:
        raise RigFileError(f"rig '{rig.name}': a picture needs a flash; add a [[flash]]")
    if rig.aim.kind == "collision" and len(split_places(rig)[0].list_drops()) < 2:
        raise RigFileError(
            f"rig '{rig.name}': only one [[drop]] falls where drop 1 does, and a collision takes two; "
            "give another drop a valve within 5 mm of that place"
        )


def _refuse_times(rig: Rig, times: tuple[float, ...], need: Need) -> NoReturn:
    """Raise RigFileError for openings with which a drop misses, naming what would do."""
    fixed = rig.list_fixed()
    late = next((n for n in range(len(times), 2, -1) if fixed[n - 1] is not None), 2)
    if late == 2:
        refuse_spacing(rig, times[1], need)
    gap = need.openings_s[late - 2] - need.spacing_s
    low, high = (float(times[1] + p) for p in np.percentile(gap, (5.0, 95.0)))
    _refuse_time(
        rig, f"drop[{late}].at", times[late - 1], f"drop {late} would miss the umbrella", low, high
    )


def refuse_spacing(rig: Rig, spacing_s: float, need: Need) -> NoReturn:
    """Raise RigFileError for a spacing with which drop 2 meets no jet, naming one that would do."""
    low, high = (float(p) for p in np.percentile(need.spacing_s, (5.0, 95.0)))
    _refuse_time(rig, "aim.spacing", spacing_s, "drop 2 would miss the jet", low, high)


def _refuse_time(
    rig: Rig, key: str, found_s: float, why: str, low_s: float, high_s: float
) -> NoReturn:
    expected = f"about {low_s * 1e3:.0f} to {high_s * 1e3:.0f} ms"
    text = f"rig '{rig.name}': {key} = {found_s * 1e3:.4g} ms: {why}; {expected} would work, or leave it out"
    problem = KeyProblem(key, found_s, expected, text, low=low_s, high=high_s)
    raise RigFileError(text, problems=(problem,))


def draw_rigs(
    rig: Rig, setting: Setting, count: int, learned: Belief | None, *, seed: int = _SEED
) -> Draws:
    """Rigs that fit the file, narrowed by what was learned; always the same ones."""
    known = learned.fit(rig) if learned is not None else None
    # A plan's timings change nothing about the rigs: a step of one draws no new ones.
    fixed = rig.with_aim(
        spacing_s=None, flash_delay_s=None, stage_s=None, anchor=None, anchor_count=None
    )
    return _draw(fixed, setting, count, seed, known and (known[0].tobytes(), known[1].tobytes()))


@lru_cache(maxsize=4)
def _draw(
    rig: Rig, setting: Setting, count: int, seed: int, known: tuple[bytes, bytes] | None
) -> Draws:
    rng = np.random.default_rng(seed)
    if known is None:
        z = WIDER * draw_z(count, rng)
    else:
        mean, covariance = (np.frombuffer(one) for one in known)
        z = draw_z(count, rng, mean, WIDER**2 * covariance.reshape(len(NAMES), len(NAMES)))
    return make_draws(rig, setting, z, make_jet_prior(rig, setting))


def add_places(
    places: Iterable[Rig],
    event_s: float,
    drops: list[PlannedDrop],
    learned: Belief | None,
    *,
    draws: int = DRAWS,
) -> tuple[list[PlannedDrop], float]:
    """Add the drops of other places, so that their pictures come at the same moment.

    `event_s`: when the first place's drops meet, since its first opening. Returns all drops, and how much later that
    opening now is.
    """
    shift = 0.0
    for rig in places:
        rigs = draw_rigs(rig, make_setting(rig), draws, learned)
        need = find_need(rigs)
        recalled = learned.recall_spacing(rig) if learned is not None else None
        times = choose_times(rigs, need, (), recalled)
        meets = rigs.find_contact(times)[0] if len(times) > 1 else need.contact_s
        start = event_s + shift - float(np.nanmedian(meets))
        later = max(0.0, -start)
        moved = [replace(drop, at_s=drop.at_s + later) for drop in drops]
        drops = moved + list_planned(rig, times, None, first=len(drops) + 1, start_s=start + later)
        shift += later
    return drops, shift


def _about_wishes(rig: Rig, need: Need, flash: Floats) -> list[Caution]:
    """Warn of values fixed by the rig's aim that lie outside the plan's own range."""
    found: list[Caution] = []
    delay_s = float(np.nanmedian(flash))
    if delay_s < _LEAST_DELAY_S:
        text = (
            f"the flash would have to come {-delay_s * 1e3:.1f} ms before its anchor's edge: "
            "put the beam higher, or let the flash follow an earlier drop (aim.anchor_count)"
        )
        found.append(Caution(CautionKind.FLASH_BEFORE_EDGE, text, values={"delay_s": delay_s}))
    spacing, interval = rig.list_fixed()[1], make_interval(need.spacing_s)
    if spacing is not None:
        key = "drop[2].at" if rig.aim.spacing_s is None else "aim.spacing"
        found += warn_outside(CautionKind.SPACING, key, spacing, interval)
    if rig.aim.flash_delay_s is not None:
        found += warn_of_delay(rig.aim.flash_delay_s, make_interval(flash))
    return found
