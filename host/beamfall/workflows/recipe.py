"""Fires a recipe again: two drops show how today differs, the user is offered a correction, then the shot is fired."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from beamfall.errors import PhysicsRangeError
from beamfall.planning.belief import Belief
from beamfall.planning.calibration.drops import make_drops
from beamfall.recipes.make import measure_drops
from beamfall.recipes.recipe import Recipe
from beamfall.setup.rig import Rig
from beamfall.workflows.steps import (
    YES,
    Begin,
    Event,
    Fired,
    Progress,
    WarmingUp,
    Workflow,
    YesNo,
    ask,
    begin,
    fire,
    let_drops_fall,
)

if TYPE_CHECKING:
    from beamfall.recipes.day import Correction


@dataclass(frozen=True)
class DayCompared(Event):
    """How today differs from the day of a recipe; `correction` None: nothing can be said about this recipe."""

    recipe: Recipe
    correction: Correction | None


@dataclass(frozen=True)
class ApplyCorrection(YesNo):
    """Shall the shot be corrected for today?"""

    correction: Correction
    otherwise = YES


@dataclass(frozen=True)
class RecipeShot:
    """A recipe fired again. `corrected`: whether the correction was applied."""

    shots: tuple[Fired, ...]
    correction: Correction | None
    corrected: bool


def shoot_recipe(
    recipe: Recipe,
    now: Rig,
    count: int = 1,
    *,
    learned: Belief | None = None,
    as_then: bool = False,
) -> Workflow[RecipeShot]:
    """Fire a recipe `count` times on its rig as it is now (see `recipes.day.set_day`).

    `as_then`: fire the original milliseconds, without drops to compare. `learned` is what is known about the rig.
    """
    sequence, corrected = recipe.sequence, False
    correction: Correction | None = None
    yield from begin(
        Begin(
            "recipe", now, {"recipe": recipe.name, "count": count, "as_then": as_then},
            flashes=sequence, repeated=count > 1,
        )
    )  # fmt: skip
    yield from let_drops_fall(now, now.aim.warm_up)
    if not as_then:
        correction = yield from _compare_days(recipe, now, learned)
        yield DayCompared(recipe, correction)
        if correction is not None and correction.is_needed:
            corrected = yield from ask(ApplyCorrection(correction))
        if corrected and correction is not None:
            from beamfall.recipes.day import apply_correction

            sequence = apply_correction(recipe, correction.spacing_s, correction.delay_s)
    shots: list[Fired] = []
    for number in range(count):
        yield Progress(number, count)
        shots.append((yield from fire(sequence, {"recipe": recipe.name})))
    yield Progress(count, count)
    return RecipeShot(tuple(shots), correction, corrected)


def _compare_days(recipe: Recipe, now: Rig, learned: Belief | None) -> Workflow[Correction | None]:
    from beamfall.recipes.day import find_correction

    seen = None
    if recipe.drops and now.beams:
        drops = make_drops(now)
        yield WarmingUp(len(drops.rows))
        dripped = yield from fire(drops, {"drops": "today"})
        seen = next(iter(measure_drops([dripped.record], now)), None)
    try:
        return find_correction(recipe, now, seen, learned=learned)
    except PhysicsRangeError:
        return None
