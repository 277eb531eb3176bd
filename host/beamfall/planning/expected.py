"""When the beam edges of a sequence are expected, so that its chart can place the rows that follow them."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING

from beamfall.setup.sequence import Sequence
from beamfall.setup.signals import SignalKind
from beamfall.setup.table import BEAMS

if TYPE_CHECKING:
    from beamfall.planning.result import Plan

ExpectedEdges = Mapping[str, tuple[float, ...]]

_FALL_S = 0.3  # from opening to edge, and between edges that no opening explains, if nobody knows (our choice)


def expect_edges(sequence: Sequence, plan: Plan | None) -> ExpectedEdges:
    """Return for each awaited beam its counted edges, in s from the release, as many as are awaited.

    `plan`, made with `traced=True`, says how long the drops of its rig take to a beam. Edges beyond the openings,
    and all without a plan, get places of their own in the picture: only their order means anything.
    """
    openings = sorted(row.delay_s for row in sequence.rows if row.kind is SignalKind.VALVE)
    expected = {}
    for beam, awaited in zip(BEAMS, sequence.awaits, strict=True):
        if not awaited:
            continue
        fall_s = _find_fall(plan, beam)
        edges = [opened + fall_s for opened in openings[:awaited]]
        while len(edges) < awaited:
            edges.append((edges[-1] if edges else 0.0) + _FALL_S)
        expected[beam] = tuple(edges)
    return expected


def _find_fall(plan: Plan | None, beam: str) -> float:
    """From an opening to the drop's lowest point at a beam, in s, for the middle rig."""
    trace = None if plan is None else plan.trace
    heights = {} if trace is None else dict(trace["beams"])
    if trace is None or beam not in heights:
        return _FALL_S
    _, times, drop_heights, _ = trace["drops"][0]
    passed = ((t, h) for t, h in zip(times, drop_heights, strict=True) if h <= heights[beam])
    moment, height = next(passed, (_FALL_S, heights[beam]))
    before = [(t, h) for t, h in zip(times, drop_heights, strict=True) if h > heights[beam]]
    if not before:
        return float(moment)
    earlier, above = before[-1]
    share = (above - heights[beam]) / (above - height)
    return float(earlier + share * (moment - earlier))
