"""The newest shot as all pages show it: its timeline, where its drops were, its picture."""

from __future__ import annotations

from typing import Any

from beamfall.page.drawing import describe_shot_chart, describe_trace, find_shifts, read_scatter
from beamfall.page.pictures import draw_later
from beamfall.page.review import say_seen, say_shot
from beamfall.page.work import Work
from beamfall.workflows.steps import Fired


def show_shot(work: Work, fired: Fired) -> None:
    """Put a shot that has just ended on the hub, and start drawing its simulated picture."""
    sequence, record = fired.sequence, fired.record
    content = record.to_json()
    plan = work.desk.plan
    shifts: list[float | None] = []
    trace = None
    if plan is not None and plan.sequence == sequence:
        trace = describe_trace(plan)
        edges = [
            (edge.what, edge.ticks / record.clock_hz * 1e3, edge.edge == "dark")
            for edge in record.edges
            if edge.ticks is not None
        ]
        shifts = [] if trace is None else find_shifts(trace, edges)
        work.bench.trends.look_later(work.log.path, fired.shot, work.desk.number)
    shown: dict[str, Any] = {
        "shot": record.shot,
        "series": fired.series,
        "state": record.state,
        "cause": record.cause,
        "line": say_shot(record, sees_light=fired.sees_light),
        "seen": say_seen(record),
        "timeline": describe_shot_chart(content, read_scatter(work.log, fired.series, record.shot)),
        "plan": work.desk.number,
        "trace": trace,
        "shifts": shifts,
        "picture": None,
        "rating": None,
        "note": "",
    }
    work.hub.set(shot=shown)
    if fired.picture is not None:
        draw_later(work.hub, work.log.path, fired.shot, fired.picture)
