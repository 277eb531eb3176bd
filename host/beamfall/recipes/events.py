"""From the milliseconds of one shot to when things met, and from that to the plan for another rig.

The moment of meeting is a share of the jet's rise, so that it means the same for a tall jet and a short one; the
stage is a time, since drop and jet meet at much the same speed everywhere.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from beamfall.arrays import Floats
from beamfall.errors import PhysicsRangeError, RecipeError
from beamfall.physics.splash import OF_THE_JET
from beamfall.planning.belief import Belief
from beamfall.planning.collision import DRAWS, check_rig, draw_rigs
from beamfall.planning.draws import Draws, JetDraws, meet, meet_all
from beamfall.planning.make import make_plan
from beamfall.planning.result import Caution, CautionKind, Interval, Plan, make_interval
from beamfall.planning.seek.aims import Start
from beamfall.planning.seek.answer import Shot
from beamfall.planning.seek.likelihood import MISS
from beamfall.planning.seek.search import NEAR_S
from beamfall.planning.seek.timing import Timing, find_impact
from beamfall.planning.setting import Setting, make_setting
from beamfall.recipes.recipe import Events, Looks, Recipe, find_partners, name_liquids
from beamfall.recipes.spacing import choose_meeting, find_height, find_leeway, make_meeting
from beamfall.setup.rig import Rig

_SAID_S = 0.0005  # how well a person who says 'this is the picture' knows its stage (our choice)
_MOMENTS_ALIKE = 0.01
_NEAR_MOST_S = 0.002  # a search aims no worse than this (our choice)
_ALIKE = 0.1  # of Weber number, height ...: a difference below this is not worth a word


@dataclass(frozen=True)
class Met:
    """What one shot did, for each of many rigs that it may have been fired on."""

    rigs: Draws
    light_s: Floats  # all since the first opening
    impact_s: Floats
    met_s: Floats  # when drop 2 met the jet, as the models say; NaN where it did not
    contact_s: Floats  # of the last drop; NaN where none
    contact_m: Floats

    @property
    def stage_s(self) -> Floats:
        """From the contact to the light."""
        return self.light_s - self.contact_s

    @property
    def meeting(self) -> Floats:
        """The share of the jet's rise when drop 2 met it."""
        begun = self.impact_s + self.rigs.onset_s
        result: Floats = (self.met_s - begun) / self.rigs.rise_s
        return result


def find_meeting(rigs: Draws, shot: Shot) -> Met:
    """Return what a shot with two or more drops did on each of the rigs; beam edges say when they came."""
    timing = Timing.read(rigs, shot)
    jet = JetDraws.of(rigs, timing.impact_s)
    first, _ = meet(jet, rigs.drop(2), timing.freed_s[0])
    last, height = meet_all(jet, rigs.drops, timing.freed_s)
    later = rigs.values["contact_offset_s"]
    light = shot.flash_s + rigs.flash_latency_s
    return Met(rigs, light, timing.impact_s, first, last + later, height)


def read_events(
    rig: Rig, shot: Shot, drops: int, *, learned: Belief | None = None, said_s: float | None = None
) -> tuple[Events, Looks]:
    """Return when things met in a shot, and what its picture shows.

    `drops` fell at one place; `said_s`: the stage that somebody has said the picture shows. Raises RecipeError if
    no rig like the file's would have shown a collision, PhysicsRangeError as the planner does.
    """
    kind = "collision" if drops > 1 or rig.aim.kind == "collision" else rig.aim.kind
    rig = rig.with_aim(kind=kind, drops=max(2, drops))
    setting = make_setting(rig)
    rigs = draw_rigs(rig, setting, DRAWS, learned)
    if drops < 2:
        return _read_single(rig, shot, rigs)
    met = find_meeting(rigs, shot)
    there = np.isfinite(met.contact_s)
    chances = there.astype(np.float64)
    if said_s is not None:
        apart = np.where(there, met.stage_s - said_s, 1.0)
        chances *= np.exp(-0.5 * np.minimum((apart / _SAID_S) ** 2, 1000.0)) + 1e-9
    if not there.any():
        raise RecipeError(
            "with these timings drop 2 meets no jet on a rig like this one: choose another shot, or check the rig file"
        )
    chosen = _take(chances)
    moment, stage = (make_interval(values[chosen]) for values in (met.meeting, met.stage_s))
    if said_s is not None and not stage.holds(said_s):
        stage = Interval(said_s - 2 * _SAID_S, said_s, said_s + 2 * _SAID_S)
    jet = make_interval(np.maximum(rigs.height_m[chosen], 0.0))
    events = Events(
        kind="collision", drops=drops, **_moment(moment),
        stage_s=_clip(stage.p50, -0.05, 0.2), stage_low_s=_clip(stage.p5, -0.2, 0.5),
        stage_high_s=_clip(stage.p95, -0.2, 0.5),
    )  # fmt: skip
    return events, _look(rigs, jet, float(np.median(met.contact_m[chosen])))


def _read_single(rig: Rig, shot: Shot, rigs: Draws) -> tuple[Events, Looks]:
    after = shot.flash_s + rigs.flash_latency_s - find_impact(rigs, shot)
    kind = rig.aim.kind
    jet = make_interval(rigs.height_m) if kind in OF_THE_JET else None
    begun, span = _find_scale(kind, rigs)
    moment = make_interval((after - begun) / span)
    return Events(kind=kind, drops=1, **_moment(moment)), _look(rigs, jet, None)


def _find_scale(kind: str, rigs: Draws) -> tuple[Floats, Floats]:
    """What the moment of a one-drop recipe counts from, after the impact, and in what: see `recipe.Events`."""
    if kind in OF_THE_JET:
        return rigs.onset_s, rigs.rise_s
    if kind == "cavity":
        return np.zeros(rigs.count), rigs.onset_s
    return np.zeros(rigs.count), rigs.first.diameter_m / rigs.first.impact_speed_m_s


def _moment(interval: Interval) -> dict[str, float]:
    names = {"moment": interval.p50, "moment_low": interval.p5, "moment_high": interval.p95}
    return {name: round(_clip(value, -20.0, 100.0), 4) for name, value in names.items()}


def _look(rigs: Draws, jet: Interval | None, contact_m: float | None) -> Looks:
    def length(value: float | None) -> float | None:
        return None if value is None else round(_clip(value, 0.0, 1.0), 5)

    low, middle, high = (None, None, None) if jet is None else (jet.p5, jet.p50, jet.p95)
    return Looks(
        drop_m=round(float(np.median(rigs.first.diameter_m)), 6),
        speed_mm_s=round(1e3 * float(np.median(rigs.first.impact_speed_m_s)), 1),
        jet_m=length(middle), jet_low_m=length(low), jet_high_m=length(high),
        contact_m=length(contact_m),
    )  # fmt: skip


def _clip(value: float, low: float, high: float) -> float:
    return round(min(max(float(value), low), high), 6)


def _take(chances: Floats) -> NDArray[np.intp]:
    """Choose indices in proportion to their chances, always in the same way."""
    edges = np.cumsum(chances)
    places = (np.arange(len(chances)) + 0.5) / len(chances)
    found: NDArray[np.intp] = np.searchsorted(edges, places * edges[-1])
    return np.minimum(found, len(edges) - 1)


# -- to another rig --------------------------------------------------------------------------------------------
@dataclass(frozen=True)
class Carried:
    """A recipe on another rig: the plan, the spacing's interval, and what could not be carried over, in sentences."""

    plan: Plan
    rig: Rig  # with the recipe's aim
    spacing: Interval | None
    lost: tuple[str, ...]
    lower: float = 0.0  # share of the jet's height by which drop 2 meets it lower than at the recipe's own moment
    #: That the first picture comes within `spacing.CLOSE_S` of the recipe's stage; only of two drops.
    chance: float | None = None


def carry_over(
    recipe: Recipe, rig: Rig, *, learned: Belief | None = None, exact: bool = False
) -> Carried:
    """Return the plan that shows a recipe's picture on another rig.

    `exact`: two drops meet at the recipe's own moment, though another would make the time of contact more certain.
    Raises RecipeError for a recipe without events, else as the planner does.
    """
    events = recipe.events
    if events is None:
        raise RecipeError(
            f"recipe '{recipe.name}' does not say when its drops meet. Its milliseconds are right only on the rig "
            "that it was saved on"
        )
    rig = rig.with_aim(
        kind=events.kind, drops=events.drops, spacing_s=None, flash_delay_s=None, anchor=None, anchor_count=None,
        stage_s=None,
    )  # fmt: skip
    check_rig(rig)
    setting = make_setting(rig)
    rigs = draw_rigs(rig, setting, DRAWS, learned)
    lost = _list_lost(recipe, events, rig, setting, rigs)
    spacing, lower, chance, fixes_spacing = None, 0.0, None, False
    stage = _find_stage(events, rigs)
    if events.kind == "collision":
        # the planner fixes no spacing of three drops
        is_chosen = events.drops == 2 and not exact
        meeting = (choose_meeting if is_chosen else make_meeting)(rigs, events)
        spacing = meeting.interval
        if events.drops == 2:
            rig, fixes_spacing = rig.with_aim(spacing_s=meeting.spacing_s), True
            chance = (1.0 - MISS) * meeting.chance
            there = make_meeting(rigs, events).moment
            lower = find_height(rigs, there) - find_height(rigs, meeting.moment)
            if abs(meeting.moment - events.moment) >= _MOMENTS_ALIKE:
                lost.append(
                    f"the moment when the drops meet: {100 * meeting.moment:.0f} % of the jet's rise here, "
                    f"{100 * events.moment:.0f} % there. This jet's height is known only to within "
                    f"{100 * find_leeway(rigs):.0f} %, and a lower contact makes the first picture more certain. Once "
                    "`beamfall seek` has found the jet's height, the drops meet nearer the recipe's moment"
                )
    plan = make_plan(rig, stage_s=stage, learned=learned)
    if fixes_spacing:
        plan = replace(plan, warnings=tuple(map(_name_the_recipe, plan.warnings)))
    return Carried(plan, rig, spacing, tuple(lost), lower, chance)


def _name_the_recipe(caution: Caution) -> Caution:
    """A warning about the spacing says that it comes from the recipe: the user's aim sets none."""
    if caution.kind is not CautionKind.SPACING:
        return caution
    found, low, high = (1e3 * caution.values[one] for one in ("found_s", "low_s", "high_s"))
    text = (
        f"the recipe's spacing is {found:.2f} ms on this rig, outside the {low:.1f} to {high:.1f} ms "
        "that a plan without the recipe expects"
    )
    return replace(caution, text=text, about=())


def find_start(
    recipe: Recipe,
    rig: Rig,
    *,
    learned: Belief | None = None,
    near_s: float = NEAR_S,
    exact: bool = False,
) -> tuple[Rig, Start]:
    """Return the rig with a recipe's aim, and where a search for its picture begins on it.

    The search asks for no more than the recipe knows about its own stage. Raises as `carry_over` does.
    """
    carried = carry_over(recipe, rig, learned=learned, exact=exact)
    plan, events = carried.plan, recipe.events
    assert events is not None  # or nothing could be carried over
    if events.stage_low_s is not None and events.stage_high_s is not None:
        half_s = 0.5 * (events.stage_high_s - events.stage_low_s)
        near_s = min(max(near_s, half_s), _NEAR_MOST_S)
    return carried.rig.with_aim(spacing_s=None), Start(plan.spacing_s, plan.stage_s, near_s)


def _find_stage(events: Events, rigs: Draws) -> float:
    """The stage as the planner counts it."""
    if events.stage_s is not None:
        return events.stage_s
    begun, span = _find_scale(events.kind, rigs)
    return float(np.median(begun + events.moment * span - rigs.moments[events.kind]))


def _list_lost(
    recipe: Recipe, events: Events, rig: Rig, setting: Setting, rigs: Draws
) -> list[str]:
    """What the other rig shows differently, whatever its timings."""
    own = recipe.rig
    found = ["the recipe's own jet: when this rig's jet rises, and how high, is calculated instead"]
    if events.drops > 2:
        found.append("the gaps between three drops: the planner chooses them for this rig")
    if len(own.valves) > len(find_partners(own)):
        found.append("the drops of valves at other positions")
    if name_liquids(own) != name_liquids(rig):
        found.append(
            f"the liquid: {name_liquids(own)} there, {name_liquids(rig)} here; shapes will differ"
        )
    try:
        then = make_setting(own).liquid
        now, looks = setting.liquid, recipe.looks
        if looks is not None:
            drop = float(np.median(rigs.first.diameter_m))
            speed = float(np.median(rigs.first.impact_speed_m_s))
            weber = [
                liquid.density_kg_m3 * d * v * v / liquid.surface_tension_n_m
                for liquid, d, v in (
                    (then, looks.drop_m, looks.speed_mm_s * 1e-3),
                    (now, drop, speed),
                )
            ]
            if abs(weber[1] / weber[0] - 1.0) > _ALIKE:
                more = "larger and thinner" if weber[1] > weber[0] else "smaller and thicker"
                found.append(
                    f"the splash's size: drops of {drop * 1e3:.1f} mm at {speed:.1f} m/s here, "
                    f"{looks.drop_m * 1e3:.1f} mm at {looks.speed_mm_s * 1e-3:.1f} m/s there; "
                    f"the umbrella will be {more}"
                )
            jet = float(np.median(rigs.height_m))
            if looks.jet_m and abs(jet / looks.jet_m - 1.0) > _ALIKE:
                found.append(
                    f"the jet's height: about {jet * 1e3:.0f} mm here, {looks.jet_m * 1e3:.0f} mm there"
                )
    except PhysicsRangeError:
        found.append("the splash's size: the recipe's own rig is outside the range of the formulas")
    looks_like = [one for one, same in (
        ("dye", own.liquid.colour == rig.liquid.colour),
        ("backlight", own.light == rig.light),
    ) if not same]  # fmt: skip
    if looks_like:
        found.append(f"the colours: different {' and '.join(looks_like)}")
    if len(own.flashes) != len(rig.flashes):
        found.append(f"the light: {len(own.flashes)} flashes there, {len(rig.flashes)} here")
    if own.beams and not rig.beams:
        found.append(
            "a flash that follows a beam: this rig has no beam, so the flash follows the release"
        )
    return found
