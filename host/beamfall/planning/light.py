"""The light of a plan and the plan around it: what a collision and a picture of one drop have in common."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

import numpy as np

from beamfall.arrays import Floats
from beamfall.planning.anchors import judge_anchors
from beamfall.planning.belief import Belief
from beamfall.planning.cautions import list_cautions
from beamfall.planning.draws import Draws, find_beam
from beamfall.planning.result import (
    AnchorChoice,
    AnchorEdge,
    Caution,
    Plan,
    PlannedDrop,
    make_intervals,
)
from beamfall.planning.rows import (
    build_sequence,
    build_warm_up,
    find_flash,
    find_lead,
    warn_of_shutter,
)
from beamfall.planning.setting import Setting, make_setting
from beamfall.planning.trace import make_trace
from beamfall.planning.unknowns import NAMES, OF_THE_JET, list_scatters
from beamfall.setup.rig import Rig

STAGE_S = 0.002  # after the contact the umbrella has begun to spread (our choice)


@dataclass(frozen=True)
class Light:
    """The light `stage_s` after what the picture is to show, on each of the rigs that fit `rig`, the picture's place.

    `event_s`: when that comes; `base_s`: when the anchor's edge does.
    """

    rig: Rig
    rigs: Draws
    times_s: tuple[float, ...]
    event_s: Floats
    stage_s: float
    choices: tuple[AnchorChoice, ...]
    anchor: AnchorEdge
    base_s: Floats

    @property
    def flash_s(self) -> Floats:
        """The delay of the flash after the anchor's edge."""
        return self.event_s + self.stage_s - self.rigs.flash_latency_s - self.base_s


def choose_stage(rig: Rig, asked_s: float | None = None) -> float:
    """When the light is to come, in s after what the picture shows: as asked, as the rig's aim says, or the usual."""
    if asked_s is not None:
        return asked_s
    if rig.aim.stage_s is not None:
        return rig.aim.stage_s
    return STAGE_S if rig.aim.kind == "collision" else 0.0


def aim_light(
    rig: Rig, rigs: Draws, times_s: tuple[float, ...], event_s: Floats, stage_s: float
) -> Light:
    """Return the light after the anchor that leaves the least scatter, or that the rig's aim names."""
    choices = judge_anchors(rig, rigs, times_s, event_s, list_scatters(rig))
    anchor = next(choice.anchor for choice in choices if choice.chosen)
    base = find_base(rigs, rig, anchor, times_s)
    return Light(rig, rigs, times_s, event_s, stage_s, tuple(choices), anchor, base)


def build_plan(
    rig: Rig,
    light: Light,
    *,
    drops: list[PlannedDrop],
    shift_s: float = 0.0,
    intervals: Mapping[str, Floats],
    quantities: Mapping[str, Floats],
    chance: float | None = None,
    wishes: Iterable[Caution] = (),
    learned: Belief | None,
    traced: bool,
) -> Plan:
    """Return the plan of a light. `shift_s`: how much later the first opening is because of other places' drops.

    `wishes`: what there is to say about values that the user fixed.
    """
    rigs, anchor = light.rigs, light.anchor
    delay = rig.aim.flash_delay_s
    if delay is None:
        delay = max(0.0, float(np.nanmedian(light.flash_s)))
    first_edge, last_edge, delay_s = 0.0, 0.0, delay + shift_s
    if anchor.count:
        edges = np.nanpercentile(light.base_s, (0.1, 99.9))
        first_edge, last_edge = (float(edge) + shift_s for edge in edges)
        delay_s = delay
    flash_s = find_flash(rig, anchor, delay_s, first_edge, last_edge)
    setting = make_setting(light.rig)
    cautions = list_cautions(light.rig, setting, rigs, light.times_s, chance)
    kind, trace = rig.aim.kind, None
    if traced:
        light_s = light.event_s + light.stage_s
        trace = make_trace(light.rig, rigs, light.times_s, light_s, light.stage_s, anchor)
    return Plan(
        kind=kind,
        rig_name=rig.name,
        drops=tuple(drops),
        sequence=build_sequence(
            rig, drops, anchor, delay_s, last_edge, f"{kind}, {rig.name}", first_edge_s=first_edge
        ),
        anchor=anchor,
        anchors=light.choices,
        stage_s=light.stage_s,
        flash_delay_s=delay,
        intervals=make_intervals(intervals),
        quantities=make_intervals(quantities),
        assumptions=tuple(list_assumptions(rig, setting, learned)),
        warnings=(*cautions, *warn_of_shutter(rig, flash_s), *wishes),
        chance=chance,
        warm_up=build_warm_up(rig, rig.aim.warm_up),
        flash_s=flash_s,
        has_fixed_flash=any(firing.delay_s is not None for firing in rig.firings),
        trace=trace,
    )


def find_base(
    rigs: Draws, rig: Rig, anchor: AnchorEdge, times_s: tuple[Floats | float, ...]
) -> Floats:
    """When the anchor comes; `times_s`: the opening of each drop since the first one, which is 0."""
    if anchor.count == 0:
        return np.full(rigs.count, -find_lead(rig))
    beams = [find_beam(rig, valve) for valve in rigs.valves]
    seen = [n for n, beam in enumerate(beams, 1) if beam and beam.input == anchor.beam]
    number = seen[anchor.count - 1]
    drop = rigs.drop(number)
    result: Floats = times_s[number - 1] + drop.latency_s + drop.to_edge_s
    return result


def list_assumptions(rig: Rig, setting: Setting, learned: Belief | None) -> list[str]:
    """The assumptions behind the numbers, in sentences."""
    u = rig.uncertainty
    liquid = setting.liquid
    found = [
        f"heights are accurate to within {u.height_m * 1e3:.2g} mm, volumes to within {100 * u.volume:.0f} %, the "
        f"valve's latency to within {u.latency_s * 1e3:.2g} ms (standard deviations)",
        f"liquid: {liquid.name}, {liquid.density_kg_m3:.1f} kg/m³, {liquid.viscosity_pa_s * 1e3:.3g} mPa·s, "
        f"{liquid.surface_tension_n_m * 1e3:.1f} mN/m",
        f"drops detach about one diameter below the nozzle, already falling; gravity {setting.gravity:.4f} m/s²",
    ]
    for bottle in rig.bottles:
        drops = make_setting(rig, bottle.valve).liquid
        found.append(
            f"{bottle.valve} releases {drops.name}: {drops.density_kg_m3:.1f} kg/m³, "
            f"{drops.viscosity_pa_s * 1e3:.3g} mPa·s, {drops.surface_tension_n_m * 1e3:.1f} mN/m; the jet comes from "
            "the dish's liquid"
        )
    if liquid.unknown:
        names = ", ".join(sorted(liquid.unknown))
        found.append(
            f"only typical values are known for the liquid's {names}, so the jet's intervals are wider"
        )
    known = learned.fit(rig) if learned is not None else None
    if learned is None or known is None or not _narrows_jet(known[1]):
        found.append(
            "the jet's onset, rise and height come from computed splashes, with wide intervals; seeking narrows them"
        )
    if learned is not None and known is not None:
        found.append(learned.describe())
    elif learned is not None and learned.chain:
        found.append(
            "what was learned about this rig is kept but not used, because the liquid, dish, drop or valve has "
            "changed, or an earlier version of Beamfall calculated differently; seek again"
        )
    return found


def _narrows_jet(covariance: Floats) -> bool:
    """Whether anything is known about the jet itself; calibrating says nothing about it."""
    return any(covariance[n, n] < 0.999 for n in map(NAMES.index, OF_THE_JET))
