"""How much later than planned the drops came, as the drawing of the rig shows it while a shot runs and after it."""

from __future__ import annotations

import dataclasses
from types import SimpleNamespace
from typing import Any

import pytest

from beamfall.events import Edge, EdgesSeen
from beamfall.page.board_news import BoardNews
from beamfall.page.drawing import describe_trace, find_shifts
from beamfall.page.hub import Hub
from beamfall.planning.collision import plan_collision
from beamfall.setup.rig import example_rig
from beamfall.setup.signals import Signal

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
        [("beam1", at + late + into, True), ("beam1", at + late + into + DWELL_MS, False)]
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


def test_a_shot_whose_end_was_not_reported_leaves_nothing_for_the_next_one(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    trace, due = make_trace("dark")
    hub, told = Hub(), []
    hub.set(plan={"trace": trace})
    monkeypatch.setattr(hub, "tell", lambda _, **news: told.append(news["shifts"]))
    news = BoardNews(hub)
    news.clock_hz = 1_000_000
    shot: Any = SimpleNamespace(name="shot", label="shot")
    for release, late_ms in ((1, 1.5), (2, -2.0)):
        ticks = [round(1e3 * (due[release - 1] + at)) for at in (late_ms, late_ms + DWELL_MS)]
        edges = (Edge(Signal.beam1, 1, ticks[0], True), Edge(Signal.beam1, 0, ticks[1], True))
        news.take([EdgesSeen(shot, release, edges)])
    assert told == [[pytest.approx(1.5, abs=1e-3), None], [None, pytest.approx(-2.0, abs=1e-3)]]
