"""What today changes about a recipe: weather, head and what the beam sees of two drops, and the correction for it.

Rigs that may be this one are drawn as the planner draws them, each twice: as it was that day, and as it is now, with a
nozzle that may have moved, a valve that may be slower, a drop that may be larger. Those whose drops changed as the
beam has seen are kept. What the two need for the same picture differs by the correction, and most of what nobody knows
of the rig is the same on both days and falls out.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from beamfall.arrays import Floats
from beamfall.planning.belief import Belief
from beamfall.planning.draws import Draws, draw_z, make_draws
from beamfall.planning.light import find_base
from beamfall.planning.result import AnchorEdge, Interval
from beamfall.planning.rows import EARLIEST_S, keep_open
from beamfall.planning.seek.answer import Shot
from beamfall.planning.setting import make_setting
from beamfall.planning.unknowns import NAMES, list_unknowns, make_jet_prior
from beamfall.recipes.events import find_meeting
from beamfall.recipes.recipe import DropSeen, Recipe, find_partners
from beamfall.recipes.spacing import need_spacing
from beamfall.setup.rig import Rig
from beamfall.setup.sequence import Sequence
from beamfall.setup.signals import SignalKind

DRAWS = 6000
_SEED = 20_261
# How much these change from one day to the next: standard deviations (our choice).
_CHANGES = {"nozzle_error_m": 0.0025, "latency_error_s": 0.0005, "volume_ratio": 0.02}
_STAGE_S = 0.0007  # how well the recipe's stage is known
_ARRIVAL_THEN_S = 0.0004  # how well one day's arrivals fit one rig
_DWELL = 0.015  # of the dwell, from drop to drop
# Two drops give a correction within 0.4 to 0.5 ms (standard error): less is chance.
_WORTH_S = 0.0002


@dataclass(frozen=True)
class Difference:
    """Something that differs from the day of the recipe; SI, of a kind of `setup.units`."""

    what: str
    kind: str
    then: float
    now: float


@dataclass(frozen=True)
class Correction:
    """What a recipe needs today: later (+) or earlier (-) than then. `delay` holds it in 90 % of cases.

    `seen`: whether drops were seen today; without them only weather and head count.
    """

    spacing_s: float
    delay_s: float
    delay: Interval
    differences: tuple[Difference, ...]
    seen: bool

    @property
    def is_needed(self) -> bool:
        """Whether it is worth a change."""
        return max(abs(self.spacing_s), abs(self.delay_s)) >= _WORTH_S


def set_day(
    recipe: Recipe,
    *,
    temperature_k: float | None = None,
    head_m: float | None = None,
    rig: Rig | None = None,
) -> Rig:
    """Return the recipe's rig on another day: as the rig file says today, or with these values where given."""
    now = recipe.rig
    if rig is not None:
        now = replace(
            now, valves=rig.valves, beams=rig.beams, dish=rig.dish, site=rig.site,
            liquid=replace(now.liquid, temperature_k=rig.liquid.temperature_k),
        )  # fmt: skip
    if temperature_k is not None:
        now = replace(
            now,
            liquid=replace(now.liquid, temperature_k=temperature_k),
            bottles=tuple(replace(one, temperature_k=temperature_k) for one in now.bottles),
            site=replace(now.site, air_temperature_k=temperature_k),
        )
    if head_m is not None:
        now = replace(now, valves=tuple(replace(one, head_m=head_m) for one in now.valves))
    return now


def find_correction(
    recipe: Recipe, now: Rig, seen: DropSeen | None, *, learned: Belief | None = None
) -> Correction | None:
    """Return what a two-drop recipe needs on its rig as it is now; None for other recipes and without a flash.

    `now` is from `set_day`, `seen` what the beam saw of drops today. Raises as the planner does.
    """
    events, flash = recipe.events, recipe.sequence.flash_row()
    spacing = recipe.spacing_s
    if (
        events is None
        or events.drops != 2
        or events.stage_s is None
        or flash is None
        or spacing is None
    ):
        return None
    then = recipe.drops[0] if recipe.drops else None
    old, new = _draw_days(recipe, now, learned)
    anchor = AnchorEdge(
        flash.anchor if flash.count else "", recipe.sequence.beam1_edge, flash.count
    )

    def find_start(rigs: Draws, rig: Rig, spacing_s: float) -> Floats:
        """When the flash's delay begins, since the first opening."""
        if anchor.count == 0:
            return np.full(rigs.count, -recipe.openings[0])
        return find_base(rigs, rig, anchor, (0.0, spacing_s))

    base = find_start(old, recipe.rig, spacing)
    met = find_meeting(old, Shot((0.0, spacing), base + flash.delay_s))  # type: ignore[arg-type]
    likely = _bell((np.nan_to_num(met.stage_s, nan=1.0) - events.stage_s) / _STAGE_S)
    if then is not None:
        likely = likely * _bell((_arrive(old) - then.arrival_s) / _ARRIVAL_THEN_S)
    if then is not None and seen is not None:
        likely = likely * _compare(recipe.rig, old, new, then, seen)
    likely = np.where(np.isfinite(met.contact_s), likely, 0.0)
    meeting = np.clip(np.nan_to_num(met.meeting, nan=0.75), 0.05, 1.9)
    more = need_spacing(new, meeting) - need_spacing(old, meeting)
    by = _weigh(more, likely).p50
    contact, _ = new.find_contact((0.0, spacing + by))
    base = find_start(new, now, spacing + by)
    delay = contact + met.stage_s - new.flash_latency_s - base - flash.delay_s
    likely = np.where(np.isfinite(delay), likely, 0.0)
    interval = _weigh(np.nan_to_num(delay), likely)
    return Correction(
        by,
        interval.p50,
        interval,
        tuple(_list_differences(recipe.rig, now, then, seen)),
        seen is not None,
    )


def apply_correction(recipe: Recipe, spacing_s: float, delay_s: float) -> Sequence:
    """Return the recipe's sequence with later drops and flashes moved, and the camera open for as much longer."""
    first = recipe.openings[0]
    near = {one.output for one in find_partners(recipe.rig)}
    rows = []
    for row in recipe.sequence.rows:
        if row.output in near and row.delay_s > first:
            row = replace(row, delay_s=row.delay_s + spacing_s)
        elif row.kind is SignalKind.FLASH:
            row = replace(row, delay_s=max(EARLIEST_S, row.delay_s + delay_s))
        elif row.kind is SignalKind.CAMERA:
            row = keep_open(row, max(0.0, spacing_s + delay_s))
        rows.append(row)
    return replace(recipe.sequence, rows=tuple(rows))


def _draw_days(recipe: Recipe, now: Rig, learned: Belief | None) -> tuple[Draws, Draws]:
    """The same rigs on both days, with the two drops of the recipe."""
    then, now = (one.with_aim(kind="collision", drops=2) for one in (recipe.rig, now))
    rng = np.random.default_rng(_SEED)
    known = learned.fit(then) if learned is not None else None
    z = draw_z(DRAWS // 2, rng, *known) if known is not None else draw_z(DRAWS // 2, rng)
    z = np.concatenate((z, z))
    setting = make_setting(then)
    old = make_draws(then, setting, z, make_jet_prior(then, setting))
    setting = make_setting(now)
    prior = make_jet_prior(now, setting)
    unknowns = list_unknowns(now, setting, prior)
    changed = z.copy()
    for name, spread in _CHANGES.items():
        if unknowns[name].spread > 0.0:
            place = NAMES.index(name)
            # Each with its opposite, so that chance moves nothing.
            change = rng.standard_normal(DRAWS // 2)
            changed[:, place] += spread / unknowns[name].spread * np.concatenate((change, -change))
    return old, make_draws(now, setting, changed, prior)


def _arrive(rigs: Draws) -> Floats:
    result: Floats = rigs.first.latency_s + rigs.first.to_edge_s
    return result


def _compare(rig: Rig, old: Draws, new: Draws, then: DropSeen, seen: DropSeen) -> Floats:
    """How well each rig's change from day to day fits what the beam saw on both."""
    few = 1.0 / then.drops + 1.0 / seen.drops
    scatter = (rig.uncertainty.latency_scatter_s**2 + 1e-4**2) ** 0.5 * few**0.5
    later = _arrive(new) - _arrive(old) - (seen.arrival_s - then.arrival_s)
    result = _bell(later / scatter)
    if then.dwell_s and seen.dwell_s:
        ratio = new.first.dwell_s / old.first.dwell_s / (seen.dwell_s / then.dwell_s)
        result = result * _bell((np.nan_to_num(ratio, nan=1.0) - 1.0) / (_DWELL * few**0.5))
    return result


def _bell(x: Floats) -> Floats:
    """The height of a normal distribution, with wide tails so that no rig is impossible."""
    result: Floats = np.exp(-0.5 * np.minimum(np.square(np.nan_to_num(x)), 400.0)) + 1e-9
    return result


def _weigh(values: Floats, weights: Floats) -> Interval:
    """5 %, 50 % and 95 % of weighted values."""
    order = np.argsort(values)
    edges = np.cumsum(weights[order])
    places = np.searchsorted(edges, np.array([0.05, 0.5, 0.95]) * edges[-1])
    low, middle, high = (float(values[order][min(place, len(values) - 1)]) for place in places)
    return Interval(low, middle, high)


def _list_differences(
    then: Rig, now: Rig, drops_then: DropSeen | None, drops_now: DropSeen | None
) -> list[Difference]:
    pairs = [
        (
            "liquid's temperature",
            "temperature",
            then.liquid.temperature_k,
            now.liquid.temperature_k,
        ),
        ("air temperature", "temperature", then.site.air_temperature_k, now.site.air_temperature_k),
        ("head", "length", then.valves[0].head_m, now.valves[0].head_m),
        ("nozzle's height", "length", then.valves[0].height_m, now.valves[0].height_m),
        ("liquid's depth", "length", then.dish.depth_m, now.dish.depth_m),
    ]
    if drops_then is not None and drops_now is not None:
        pairs.append(("opening to beam", "duration", drops_then.arrival_s, drops_now.arrival_s))
        if drops_then.dwell_s and drops_now.dwell_s:
            pairs.append(("time in the beam", "duration", drops_then.dwell_s, drops_now.dwell_s))
    return [Difference(*one) for one in pairs if abs(one[3] - one[2]) > 1e-6]
