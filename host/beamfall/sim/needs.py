"""The settings that a simulated rig needs for a collision: the truth to judge plans and searches by.

Calculated from the model by root finding, one rig at a time, independently of the planner's arrays.
It leaves out scatter from shot to shot: this is what the rig does on average.
"""

from __future__ import annotations

import random
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from beamfall.setup.signals import SignalKind
from beamfall.sim.collision import find_splash, make_jet
from beamfall.sim.drops import Drop, make_drop, reach
from beamfall.sim.model import RigModel


@dataclass(frozen=True)
class Needs:
    """Times in s. `flash_delay_s` counts from the last drop's edge at beam 1, None without a beam.

    `spacing_s`: None with one drop. `later_s`: openings of drop 3 and further ones since opening 1.
    """

    nozzle_to_beam_s: float | None
    beam_to_surface_s: float | None
    jet_onset_s: float | None
    spacing_s: float | None
    flash_delay_s: float | None
    flash_after_first_edge_s: float | None
    later_s: tuple[float, ...] = ()

    def to_json(self) -> dict[str, Any]:
        """Plain values in ms."""
        plain: dict[str, Any] = {
            name.removesuffix("_s"): None if value is None else round(value * 1e3, 4)
            for name, value in vars(self).items()
            if name != "later_s"
        }
        later = [round(at * 1e3, 4) for at in self.later_s]
        return plain | ({"later": later} if later else {})


@dataclass(frozen=True)
class Falling:
    """A drop of a shot: number of its valve on the board, opening in s, and time in s after the contact before.

    The time counts for drop 3 and further ones; drop 2 meets the jet when asked.
    """

    line: int
    opening_s: float
    gap_s: float = 0.0


def find_needs(
    model: RigModel,
    stage_s: float,
    meeting: float,
    edge: str = "dark",
    drops: Sequence[Falling] = (),
    kind: str = "collision",
) -> Needs | None:
    """Return what a rig needs: drop 2 meets the jet at a fraction `meeting` of its rise, the light is `stage_s` late.

    Uses the first beam; `edge` is the counted edge. `drops`: two of the first valve when left out; further ones
    strike the umbrella. Of another `kind`, with one drop, the light is `stage_s` after that moment of its splash. None
    if there is no jet and one is needed.
    """
    first = model.valves[0]
    falling = drops or (Falling(first.line, first.opening_s),) * 2
    calm = model.without_scatter()
    drop, *later = [_let_fall(calm, one) for one in falling]
    jet = make_jet(calm, drop, random.Random(0))
    openings: list[float] = []
    if kind == "collision":
        if jet is None:
            return None
        meets = jet.starts_s + meeting * jet.rise_s
        height = jet.tip_m(meets)
        for one, other in zip(falling[1:], later, strict=True):
            meets += one.gap_s if openings else 0.0
            openings.append(meets - reach(calm, other, height + 0.5 * other.diameter_m)[0])
    else:
        found = find_splash(drop, jet).get(kind)
        if found is None:
            return None
        meets = found
    light = meets + stage_s - model.flashes[0].latency_s
    onset = None if jet is None else jet.starts_s - drop.impact_s
    spacing = openings[0] if openings else None
    seen = [one.dark_s.get(1) for one in (drop, [drop, *later][-1])]
    if seen[0] is None or seen[1] is None:
        return Needs(None, None, onset, spacing, None, None, tuple(openings[1:]))
    which = 0 if edge == "dark" else 1
    first_edge = seen[0][which]
    last_edge = (openings[-1] if openings else 0.0) + seen[1][which]
    return Needs(
        nozzle_to_beam_s=first_edge - drop.left_s,
        beam_to_surface_s=drop.impact_s - first_edge,
        jet_onset_s=onset,
        spacing_s=spacing,
        flash_delay_s=light - last_edge,
        flash_after_first_edge_s=light - first_edge,
        later_s=tuple(openings[1:]),
    )


def _let_fall(calm: RigModel, one: Falling) -> Drop:
    """The drop of a valve that opens at 0; as in a shot, it comes free once the valve has closed, not before."""
    place = calm.list_lines(SignalKind.VALVE).index(one.line) if one.line else 0
    drop = make_drop(calm, place + 1, 0.0, one.opening_s, random.Random(0), one.opening_s)
    if drop is None:
        raise ValueError("the model's valve makes no drop")
    return drop
