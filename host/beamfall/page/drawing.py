"""Plans and shots as the page draws them: the rig to scale, where the drops are at each moment, and the timeline."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

from beamfall.page.words import say_anchor
from beamfall.planning.result import AnchorEdge, Interval, Plan
from beamfall.planning.seek.answer import explain_words
from beamfall.plot.plan import describe_plan as chart_plan
from beamfall.plot.scene import to_json
from beamfall.plot.timeline import Scatter, describe_timeline
from beamfall.setup.rig import Rig
from beamfall.setup.signals import Signal, SignalKind
from beamfall.shots import ShotLog
from beamfall.shots.pulses import assign_drops, find_drops, find_usual_dwell, read_pulses

if TYPE_CHECKING:
    from beamfall.planning.seek.moment import Moment

SCATTER_MOST = 60  # shots of a series whose edges stand behind the timeline


def describe_rig(rig: Rig) -> dict[str, Any]:
    """The rig's drawing, in mm; heights above the surface."""
    return {
        "valves": [
            {"name": Signal.of(v.output).label, "height": v.height_m * 1e3, "place": v.place_m * 1e3,
             "bore": v.bore_m * 1e3}
            for v in rig.valves
        ],
        "beams": [
            {"name": Signal.of(b.input).label, "line": b.input, "height": b.height_m * 1e3,
             "place": b.place_m * 1e3}
            for b in rig.beams
        ],
        "flashes": [Signal.of(f.output).label for f in rig.flashes],
        "dish": {
            "depth": rig.dish.depth_m * 1e3,
            "diameter": None if rig.dish.diameter_m is None else rig.dish.diameter_m * 1e3,
        },
        "drops": rig.aim.drops,
    }  # fmt: skip


def first_opening_s(plan: Plan) -> float:
    """From the release to the first valve opening."""
    return min(row.delay_s for row in plan.sequence.rows if row.kind is SignalKind.VALVE)


def describe_trace(plan: Plan) -> dict[str, Any] | None:
    """Where the planned drops, the jet and the light are, on the shot's clock: ms from the release, mm."""
    trace = plan.trace
    if trace is None:
        return None
    lead = first_opening_s(plan)

    def ms(times: Sequence[float]) -> list[float]:
        return [round((t + lead) * 1e3, 4) for t in times]

    def mm(heights: Sequence[float]) -> list[float]:
        return [round(h * 1e3, 4) for h in heights]

    return {
        "drops": [
            {"number": number, "ms": ms(times), "mm": mm(heights),
             "beam": beam, "edge_ms": None if edge is None else ms([edge])[0]}
            for (number, times, heights, edge), beam in zip(trace["drops"], trace["edges"], strict=True)
        ],
        "jet_ms": ms(trace["jet_times"]),
        "jet_mm": [mm(row) for row in trace["jet"]],
        "light_ms": ms(trace["light"]),
        "diameter_mm": plan.quantities["drop_diameter_mm"].p50 * 1e3,
    }  # fmt: skip


def describe_plan(plan: Plan, tuned: str) -> dict[str, Any]:
    """A plan; `tuned` says where its timings come from, empty if they are its own."""
    content = plan.to_json()
    chart = None if plan.trace is None else to_json(chart_plan(plan).panels[0][0])
    return {
        "kind": plan.kind,
        "anchor": _say_anchor(plan.anchor),
        "spacing_ms": None if plan.spacing_s is None else plan.spacing_s * 1e3,
        "delay_ms": plan.flash_delay_s * 1e3,
        "stage_ms": plan.stage_s * 1e3,
        "chance": plan.chance,
        "tuned": tuned,
        "intervals": {name: item.to_json() for name, item in plan.intervals.items()},
        "quantities": content["quantities"],
        "anchors": [
            {**one, "said": _say_anchor(choice.anchor)}
            for one, choice in zip(content["anchors"], plan.anchors, strict=True)
        ],
        "warnings": content["warnings"],
        "assumptions": list(plan.assumptions),
        "trace": describe_trace(plan),
        "chart": chart,
    }


def _say_anchor(anchor: AnchorEdge) -> str:
    return say_anchor(anchor.beam, anchor.count, anchor.edge)


def describe_moment(spacing_s: float, delay_s: float, moment: Moment) -> dict[str, Any]:
    """What the light would show with these timings, in mm and ms."""
    meanings = explain_words(moment.drops)

    def plain(interval: Interval | None) -> dict[str, float] | None:
        return None if interval is None else interval.to_json()

    return {
        "spacing_ms": spacing_s * 1e3,
        "delay_ms": delay_s * 1e3,
        "drops": moment.drops,
        "jet_mm": plain(moment.jet_m),
        "drop_mm": plain(moment.drop_m),
        "contact_mm": plain(moment.contact_m),
        "stage_ms": plain(moment.stage_s),
        "diameter_mm": moment.diameter_m * 1e3,
        "chances": [
            {"word": word, "meaning": meanings[word], "chance": round(chance, 4)}
            for word, chance in moment.chances.items()
        ],
    }


def find_shifts(
    trace: Mapping[str, Any], edges: Sequence[tuple[str, float, bool]]
) -> list[float | None]:
    """How many ms later than planned each drop of a trace crossed its beam; None if it was not seen, or not yet.

    `edges` are (line, ms from the release, whether it is dark after it), in order.
    """
    shifts: list[float | None] = [None] * len(trace["drops"])
    seen = [drop for drop in trace["drops"] if drop["beam"] and drop["edge_ms"] is not None]
    for line, word in {tuple(drop["beam"]) for drop in seen}:
        mine = [drop for drop in seen if drop["beam"][0] == line]
        # Where it counts that a drop leaves the beam, clear is what begins with a drop.
        pulses = read_pulses(
            (ms / 1e3, dark == (word == "dark")) for what, ms, dark in edges if what == line
        )
        planned = [drop["edge_ms"] / 1e3 for drop in mine]
        found = assign_drops(planned, find_drops(pulses, find_usual_dwell(pulses)), 0.0)
        for drop, due_s, came in zip(mine, planned, found, strict=True):
            shifts[drop["number"] - 1] = None if came is None else (came.dark_s - due_s) * 1e3
    return shifts


def describe_shot_chart(record: Mapping[str, Any], scatter: Scatter) -> dict[str, Any]:
    """The timeline of a shot (the object of `shoot --json`), as `static/chart.js` draws it."""
    panel: dict[str, Any] = to_json(describe_timeline(record, scatter).panels[0][0])
    return panel


def read_scatter(log: ShotLog, series: int, but: int | None = None) -> Scatter:
    """The measured edges of the newest shots of a series, but one, in ms by line."""
    fired = [
        line.shot
        for line in log.list_shots(limit=None, series=series, state="fired")
        if line.shot != but
    ][-SCATTER_MOST:]
    lines: dict[str, list[float]] = {}
    for logged in log.read_these(fired):
        per_ms = logged.record.clock_hz / 1e3
        for edge in logged.record.edges:
            if edge.ticks is not None:
                lines.setdefault(edge.what, []).append(edge.ticks / per_ms)
    return Scatter(series, len(fired), lines)
