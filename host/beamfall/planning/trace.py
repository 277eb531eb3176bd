"""The data for the chart of a plan: heights against time, for the median rig and a band."""

from __future__ import annotations

from dataclasses import fields, replace
from typing import Any

import numpy as np

from beamfall.arrays import Floats
from beamfall.planning.draws import Draws, DropDraws, find_beam
from beamfall.planning.result import AnchorEdge
from beamfall.setup.rig import Rig

_POINTS = 60
_BAND_POINTS = 120
_BAND_RIGS = 500  # enough for a band that is only drawn


def make_trace(
    rig: Rig,
    rigs: Draws,
    times_s: tuple[float, ...],
    light_s: Floats,
    stage_s: float,
    anchor: AnchorEdge,
) -> dict[str, Any]:
    """Return curves in s and m; time 0 is drop 1's first valve opening.

    `drops`: [number, times, heights of the lowest point, edge time or None] for median values;
    `edges`: the beam that sees each drop and its counted edge, or None;
    `jet`: times and 5, 50, 95 % of the tip's height; `light`: 5, 50, 95 %.
    """
    drops = []
    for number, opened in enumerate(times_s, 1):
        drop = _take_middle(rigs.drop(number))
        radius = 0.5 * float(drop.diameter_m[0])
        top = float(drop.start_height_m[0]) - radius
        heights = top * (1.0 - np.linspace(0.0, 1.0, _POINTS) ** 2)
        freed = opened + float(drop.latency_s[0])
        times = (freed + drop.reach_lowest(heights)[0]).tolist()
        edge = freed + float(drop.to_edge_s[0])
        drops.append((number, times, heights.tolist(), edge if np.isfinite(edge) else None))
    impact = float(np.median(rigs.impact_s))
    end = impact + float(np.percentile(rigs.onset_s + 2.0 * rigs.rise_s, 90.0))
    moments = np.linspace(impact, end, _BAND_POINTS)
    jet = rigs.jet.take(np.arange(min(_BAND_RIGS, rigs.count)))
    tips = jet.tip(moments[:, None])
    band = np.percentile(tips, (5.0, 50.0, 95.0), axis=1)
    low, middle, high = np.nanpercentile(light_s, (5.0, 50.0, 95.0))
    return {
        "drops": drops,
        "edges": [
            None if beam is None else (beam.input, beam.edge)
            for beam in (find_beam(rig, valve) for valve in rigs.valves)
        ],
        "jet_times": moments.tolist(),
        "jet": band.tolist(),
        "light": (float(low), float(middle), float(high)),
        "stage": stage_s,
        "anchor": anchor.describe(),
        "beams": [(beam.input, beam.height_m) for beam in rig.beams],
        "nozzle": rig.valves[0].height_m,
    }


def _take_middle(drop: DropDraws) -> DropDraws:
    """One drop with the median of everything."""
    middle: dict[str, Any] = {
        item.name: np.array([np.median(getattr(drop, item.name))])
        for item in fields(drop)
        if item.name != "setting"
    }
    return replace(drop, **middle)
