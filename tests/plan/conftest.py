"""Rigs for the planner's tests, and an ideal board that fires a plan on a simulated rig."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from beamfall.setup.rig import Rig, example_rig
from beamfall.setup.signals import Signal
from beamfall.sim.build import draw_model
from beamfall.sim.rig import SimulatedRig, Splash

SIGNALS = Signal


def make_rig(**changes: Any) -> Rig:
    """The example rig with fields of its first valve, beam, dish, ... changed: `valve={"height_m": 0.61}`."""
    rig = example_rig()
    for name, values in changes.items():
        if name in ("valve", "beam", "flash"):
            many = {"valve": "valves", "beam": "beams", "flash": "flashes"}[name]
            first, *rest = getattr(rig, many)
            rig = replace(rig, **{many: (replace(first, **values), *rest)})
        elif name == "aim":
            rig = rig.with_aim(**values)
        else:
            rig = replace(rig, **{name: replace(getattr(rig, name), **values)})
    return rig


def make_middle_rig(rig: Rig) -> SimulatedRig:
    """A simulated rig whose truth is in the middle of everything the file leaves open."""
    model = draw_model(rig, 0, spread=0.0)
    valves = tuple(
        replace(valve, latency_scatter_s=0.0, volume_scatter=0.0) for valve in model.valves
    )
    jet = replace(model.jet, onset_scatter_s=0.0, height_scatter=0.0)
    return SimulatedRig(replace(model, valves=valves, jet=jet, aim_scatter_m=0.0))


def fire(rig: SimulatedRig, sequence: Any) -> Splash:
    """Play a sequence exactly, as a board does, and return the splash; its lights may be none."""
    hz = rig.clock_hz
    start = 5.0
    pending = [
        (start + row.delay_s, row.output, 1) for row in sequence.rows if row.anchor == "release"
    ]
    pending += [(when + row.width_s, row.output, 0) for (when, _, _), row in zip(
        pending, [row for row in sequence.rows if row.anchor == "release"], strict=True)]  # fmt: skip
    counts: dict[str, int] = {}
    edges = {"beam1": sequence.beam1_edge, "beam2": sequence.beam2_edge}
    last: dict[str, float] = {}
    while pending:
        pending.sort()
        when, output, level = pending[0]
        edge = rig.next_edge(round(when * hz))
        if edge is None:
            rig.drive(int(SIGNALS[output]), level, round(when * hz))
            pending.pop(0)
            if not pending:  # let the drops fall on
                pending.append((when + 1.5, "focus", 0)) if when < start + 4.0 else None
            continue
        beam = SIGNALS(edge[1]).name
        seen = edge[0] / hz
        if edges.get(beam) != ("dark" if edge[2] else "clear"):
            continue
        if beam in last and seen - last[beam] < sequence.blanking_s:
            continue
        last[beam] = seen
        counts[beam] = counts.get(beam, 0) + 1
        pending += [
            (seen + row.delay_s, row.output, 1)
            for row in sequence.rows
            if (row.anchor, row.count) == (beam, counts[beam])
        ]
    return rig.take_splash()
