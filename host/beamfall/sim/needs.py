"""The settings that a simulated rig needs for a collision: the truth to judge plans and searches by.

Calculated from the model by root finding, one rig at a time, independently of the planner's arrays.
It leaves out scatter from shot to shot: this is what the rig does on average.
"""

from __future__ import annotations

import random
from dataclasses import dataclass, replace
from typing import Any

from beamfall.sim.collision import Jet, make_jet
from beamfall.sim.drops import Drop, make_drop, reach
from beamfall.sim.model import RigModel


@dataclass(frozen=True)
class Needs:
    """Times in s. `flash_delay_s` counts from drop 2's dark edge at beam 1, None without a beam."""

    nozzle_to_beam_s: float | None
    beam_to_surface_s: float | None
    jet_onset_s: float
    spacing_s: float
    flash_delay_s: float | None
    flash_after_first_edge_s: float | None


def find_needs(model: RigModel, stage_s: float, meeting: float, edge: str = "dark") -> Needs | None:
    """Return what drop 2 needs to meet the jet at a fraction `meeting` of its rise, with the light `stage_s` later.

    Uses the first valve and the first beam; `edge` is the counted edge. None if there is no jet.
    """
    drop, jet = make_calm_shot(model)
    if jet is None:
        return None
    meets = jet.starts_s + meeting * jet.rise_s
    height = jet.tip_m(meets)
    fall = reach(model, drop, height + 0.5 * drop.diameter_m)[0] - drop.left_s
    spacing = meets - fall - drop.left_s
    light = meets + stage_s - model.flashes[0].latency_s
    seen = drop.dark_s.get(1)
    if seen is None:
        return Needs(None, None, jet.starts_s - drop.impact_s, spacing, None, None)
    first_edge = seen[0] if edge == "dark" else seen[1]
    return Needs(
        nozzle_to_beam_s=first_edge - drop.left_s,
        beam_to_surface_s=drop.impact_s - first_edge,
        jet_onset_s=jet.starts_s - drop.impact_s,
        spacing_s=spacing,
        flash_delay_s=light - first_edge - spacing,
        flash_after_first_edge_s=light - first_edge,
    )


def make_calm_shot(model: RigModel) -> tuple[Drop, Jet | None]:
    """The drop and the jet of a rig without scatter, its first valve opened at 0."""
    valve = replace(model.valves[0], latency_scatter_s=0.0, volume_scatter=0.0)
    jet = replace(model.jet, onset_scatter_s=0.0, height_scatter=0.0)
    calm = replace(model, valves=(valve, *model.valves[1:]), jet=jet, aim_scatter_m=0.0)
    draws = random.Random(0)
    drop = make_drop(calm, 1, 0.0, valve.opening_s, draws, 0.0)
    if drop is None:
        raise ValueError("the model's valve makes no drop")
    return drop, make_jet(calm, drop, draws)


def describe_needs(
    model: RigModel, stage_s: float, meeting: float, edge: str = "dark"
) -> dict[str, Any] | None:
    """`find_needs` as plain values in ms; None if there is no jet."""
    needs = find_needs(model, stage_s, meeting, edge)
    if needs is None:
        return None
    return {
        name.removesuffix("_s"): None if value is None else round(value * 1e3, 4)
        for name, value in vars(needs).items()
    }
