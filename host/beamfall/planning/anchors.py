"""Which edge the flash should follow: how much the picture's stage would scatter with each.

Shots of one rig differ: each drop leaves its valve a little earlier or later and a little larger
or smaller, each splash throws its jet a little differently. A flash that follows drop 2's own edge
comes late with a late drop 2, so drop 2's latency cancels; one that follows drop 1's edge or the
release does not.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

import numpy as np

from beamfall.arrays import Floats
from beamfall.errors import RigFileError
from beamfall.physics.fall import MAX_DIAMETER_M, MIN_DIAMETER_M
from beamfall.planning.draws import Draws, DropDraws, find_beam, meet_all, watch_drops
from beamfall.planning.result import AnchorChoice, AnchorEdge
from beamfall.planning.unknowns import Unknown
from beamfall.setup.rig import Rig

_RIGS, _SHOTS = 60, 80
_SEED = 511


def list_anchors(rig: Rig, rigs: Draws) -> list[AnchorEdge]:
    """The edges a flash can follow: the release, and each drop at each beam that sees it."""
    found = [AnchorEdge("release", "", 0)]
    for beam in rig.beams:
        seen = [valve for valve in rigs.valves if find_beam(rig, valve) == beam]
        found += [AnchorEdge(beam.input, beam.edge, place) for place, _ in enumerate(seen, 1)]
    return found


def judge_anchors(
    rig: Rig,
    rigs: Draws,
    times_s: tuple[float, ...],
    event: Floats,
    scatters: Mapping[str, Unknown],
) -> list[AnchorChoice]:
    """Return every anchor with the scatter it leaves, the chosen one marked; best first.

    `times_s`: the opening of each drop since the first one, which is 0. `event`: when each rig makes the picture,
    NaN where its drops miss. The standard deviation is within a rig, over shots, averaged over rigs that fit the file
    and whose drops meet. A user's own choice is kept.
    """
    drops = len(times_s)
    shots = _Shots(rig, rigs, times_s, event, scatters)
    rated = [(shots.rate(anchor), anchor) for anchor in list_anchors(rig, rigs)]
    rated.sort(key=lambda pair: pair[0])
    wanted = _read_wish(rig, [anchor for _, anchor in rated])
    chosen = wanted if wanted is not None else rated[0][1]
    return [
        AnchorChoice(anchor, scatter, anchor == chosen, _explain(anchor, drops, anchor == wanted))
        for scatter, anchor in rated
    ]


def _read_wish(rig: Rig, anchors: list[AnchorEdge]) -> AnchorEdge | None:
    aim = rig.aim
    if aim.anchor is None:
        return None
    possible = [anchor for anchor in anchors if anchor.beam == aim.anchor]
    if aim.anchor != "release" and aim.anchor_count is not None:
        possible = [anchor for anchor in possible if anchor.count == aim.anchor_count]
    if not possible:
        raise RigFileError(
            f"rig '{rig.name}': aim.anchor = '{aim.anchor}', aim.anchor_count = {aim.anchor_count}: "
            f"no drop makes that edge; choose one of {', '.join(a.describe() for a in anchors)}"
        )
    return possible[0]


def _explain(anchor: AnchorEdge, drops: int, wished: bool) -> str:
    if wished:
        return "set by aim.anchor"
    if anchor.count == 0:
        return "ignores the drops: all their scatter shows in the picture"
    if anchor.count == drops:
        return f"drop {drops}'s own edge: its latency cancels"
    return f"drop {anchor.count}'s edge: the latency of drop {drops} shows in the picture"


class _Shots:
    """Some rigs whose drops meet, each fired many times."""

    def __init__(
        self,
        rig: Rig,
        rigs: Draws,
        times_s: tuple[float, ...],
        event: Floats,
        scatters: Mapping[str, Unknown],
    ) -> None:
        rng = np.random.default_rng(_SEED)
        chosen = np.repeat(np.flatnonzero(np.isfinite(event))[:_RIGS], _SHOTS)
        count = len(chosen)
        nothing = np.full(count, np.nan)
        values = {name: array[chosen] for name, array in rigs.values.items()}

        def noise(name: str) -> Floats:
            return scatters[name].middle * rng.standard_normal(count)

        self.edges: dict[tuple[str, int], Floats] = {}
        seen: dict[str, int] = {}
        drops: list[tuple[DropDraws, Floats]] = []  # with when each came free
        for number, opened in enumerate(times_s, 1):
            valve = rigs.valves[number - 1]
            base = rigs.drop(number)
            size = np.cbrt(np.maximum(0.2, 1.0 + noise("volume_scatter")))
            diameter = np.clip(base.diameter_m[chosen] * size, MIN_DIAMETER_M, MAX_DIAMETER_M)
            beam = find_beam(rig, valve)
            drop = watch_drops(
                replace(
                    base,
                    latency_s=base.latency_s[chosen] + noise("latency_scatter_s"),
                    diameter_m=diameter,
                    start_height_m=base.start_height_m[chosen],
                    start_speed_m_s=base.start_speed_m_s[chosen],
                    to_edge_s=nothing,
                    dwell_s=nothing,
                ),
                beam,
                values,
            )
            freed = opened + drop.latency_s
            drops.append((drop, freed))
            if beam is not None:
                seen[beam.input] = seen.get(beam.input, 0) + 1
                self.edges[beam.input, seen[beam.input]] = freed + drop.to_edge_s
        first, freed = drops[0]
        impact = freed + first.to_surface_s
        onset = np.maximum(0.005, rigs.onset_s[chosen] + noise("onset_scatter_s"))
        taller = np.maximum(0.2, 1.0 + noise("height_scatter"))
        jet = replace(
            rigs.jet.take(chosen),
            starts_s=impact + onset,
            height_m=rigs.height_m[chosen] * taller,
            rise_s=rigs.rise_s[chosen] * np.sqrt(taller),
        )
        if len(drops) == 1:
            self.event = impact
        else:
            drawn = [drop for drop, _ in drops]
            self.event, _ = meet_all(jet, drawn, [freed for _, freed in drops[1:]])
        self.count = count

    def rate(self, anchor: AnchorEdge) -> float:
        """Standard deviation of the stage within a rig, in s."""
        base = self.edges[anchor.beam, anchor.count] if anchor.count else np.zeros(self.count)
        stage = (base - self.event).reshape(-1, _SHOTS)
        enough = np.isfinite(stage).sum(axis=1) > _SHOTS // 2
        if not enough.any():
            return float("inf")
        return float(np.sqrt(np.mean(np.nanvar(stage[enough], axis=1))))
