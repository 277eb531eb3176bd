"""How the rig has drifted while the same sequence was fired: reported shot by shot, with the correction for it."""

from __future__ import annotations

from dataclasses import dataclass, replace
from statistics import mean
from typing import TYPE_CHECKING

from beamfall.errors import PhysicsRangeError, RecipeError, RigFileError
from beamfall.planning.belief import Belief
from beamfall.recipes.make import make_recipe, measure_drops
from beamfall.repeatability.assess import LEAST_SHOTS, SURE_P
from beamfall.repeatability.formulas import fit_trend
from beamfall.shots import ShotLog, ShotRecord
from beamfall.shots.record import WARM_UP

if TYPE_CHECKING:
    from beamfall.recipes.day import Correction

LATEST_S = 18 * 3600.0  # older shots are of another day (our choice)
_MOST = 60  # shots that are looked at: the newest, and those with which it began
_FEW = 4  # shots whose mean is compared: half of the fewest that show a trend


@dataclass(frozen=True)
class Trend:
    """What the shot `since`, begun at `since_us`, showed takes `correction` now; the drops come `later_s` later."""

    shot: int
    since: int
    since_us: int
    later_s: float
    correction: Correction


def find_trend(log: ShotLog, shot: int, learned: Belief | None = None) -> Trend | None:
    """Return how the shots of the last hours with the sequence and the rig of this one have drifted.

    None if they have not, as far as they can show it: with few shots, with a change that may be chance or is too
    small to matter, and for what `recipes.day` cannot correct.
    """
    records = _read_alike(log, shot)
    if len(records) < LEAST_SHOTS:
        return None
    rig = log.read_shot(shot).make_rig()
    if rig is None:
        return None
    seen = [(record, drops[0]) for record in records if (drops := measure_drops([record], rig))]
    arrivals = [drop.arrival_s for _, drop in seen]
    found = fit_trend(range(len(seen)), arrivals)
    if len(seen) < LEAST_SHOTS or found is None or found.p >= SURE_P:
        return None
    first = seen[0][0]
    then, now = (
        measure_drops([record for record, _ in some], rig) for some in (seen[:_FEW], seen[-_FEW:])
    )
    from beamfall.recipes.day import find_correction

    try:
        recipe = replace(make_recipe(log, first.shot, "trend", learned=learned), drops=then)
        correction = find_correction(recipe, rig, now[0], learned=learned)
    except (PhysicsRangeError, RecipeError, RigFileError):
        return None
    if correction is None or not correction.is_needed:
        return None
    later_s = mean(arrivals[-_FEW:]) - mean(arrivals[:_FEW])
    return Trend(shot, first.shot or 0, first.begun_us or 0, later_s, correction)


def _read_alike(log: ShotLog, shot: int) -> list[ShotRecord]:
    """The fired shots of the last hours with the same sequence and rig, the oldest first."""
    shots = log.find_alike(shot, round(LATEST_S * 1e6))
    if len(shots) > _MOST:
        shots = [*shots[:_FEW], *shots[_FEW - _MOST :]]
    return [
        logged.record
        for logged in log.read_these(shots)
        if not logged.record.counts.get("edges_missing")
        and WARM_UP not in (logged.record.swept or {})
    ]
