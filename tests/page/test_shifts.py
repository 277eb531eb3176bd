"""How much later than planned the drops came, as the drawing of the rig shows it while a shot runs and after it."""

from __future__ import annotations

import dataclasses
from typing import Any

import pytest

from beamfall.page.drawing import describe_trace, find_shifts
from beamfall.planning.collision import plan_collision
from beamfall.setup.rig import example_rig

DWELL_MS = 3.0


def make_trace(edge: str) -> tuple[dict[str, Any], list[float]]:
    rig = example_rig()
    rig = dataclasses.replace(rig, beams=(dataclasses.replace(rig.beams[0], edge=edge),))
    trace = describe_trace(plan_collision(rig, traced=True))
    assert trace is not None
    return trace, [drop["edge_ms"] for drop in trace["drops"]]


@pytest.mark.parametrize("edge", ["dark", "clear"])
def test_each_drop_gets_its_own_edges_also_while_others_are_still_due(edge: str) -> None:
    trace, due = make_trace(edge)
    into = 0.0 if edge == "dark" else -DWELL_MS  # from the counted edge to the dark one
    first, second = (
        [
            ("beam1", at + late + into, True),
            ("beam1", at + late + into + DWELL_MS, False),
        ]
        for at, late in zip(due, (1.5, -2.0), strict=True)
    )
    other = [("beam2", due[0], True), ("flash1", due[1], True)]
    assert find_shifts(trace, []) == [None, None]
    assert find_shifts(trace, first + other) == [pytest.approx(1.5), None]
    assert find_shifts(trace, second) == [None, pytest.approx(-2.0)]
    assert find_shifts(trace, first + second) == pytest.approx([1.5, -2.0])


def test_a_satellite_is_no_drop() -> None:
    trace, due = make_trace("dark")
    edges = [
        edge
        for at, long in ((due[0], 3.0), (due[0] + 6.0, 0.5))
        for edge in (("beam1", at, True), ("beam1", at + long, False))
    ]
    assert find_shifts(trace, edges) == [pytest.approx(0.0), None]
