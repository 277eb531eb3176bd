"""A plan as a chart: heights against time for the drops, with beam, surface, jet and flash."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import TYPE_CHECKING, Any

from beamfall.plot.scene import Arrow, Axis, Band, Chart, Dots, Line, Panel, Rule, Shape, Span, View

if TYPE_CHECKING:
    from beamfall.planning.result import Plan


def describe_plan(plan: Plan) -> Chart:
    """Return the chart of a plan made with `traced=True`, in ms after drop 1's valve opens and mm.

    Its views: the whole fall, and the last centimetres, where drop, jet and flash must meet.
    """
    trace = plan.trace
    if trace is None:
        raise ValueError("a plan without a trace cannot be drawn: make it with traced=True")
    spacing = "" if plan.spacing_s is None else f"spacing {plan.spacing_s * 1e3:.1f} ms, "
    panel = Panel(
        title="",
        x=Axis("ms after drop 1's valve opens"),
        y=Axis("mm above the surface"),
        views=_list_views(trace),
        shapes=tuple(_list_shapes(plan, trace)),
        said=f"Drops fall past {len(trace['beams'])} beams to the surface; the light comes "
        f"{trace['light'][1] * 1e3:.1f} ms after drop 1's valve opens.",
    )
    return Chart(
        title=f"{plan.kind.capitalize()} planned for {plan.rig_name}",
        subtitle=f"{spacing}flash {plan.flash_delay_s * 1e3:.1f} ms after {plan.anchor.describe()}",
        panels=((panel,),),
    )


def _list_views(trace: Mapping[str, Any]) -> tuple[View, ...]:
    nozzle = 1e3 * trace["nozzle"]
    early, light, late = (1e3 * t for t in trace["light"])
    end = max(1e3 * trace["jet_times"][-1], late, *(1e3 * drop[1][-1] for drop in trace["drops"]))
    top = max(20.0, 1.25e3 * max(trace["jet"][2]))
    start = min(1e3 * trace["jet_times"][0], early) - 8.0
    return (
        View("Whole fall", (0.0, 1.05 * end), (-0.03 * nozzle, 1.06 * nozzle)),
        View("The last centimetres", (start, max(late + 25.0, light + 30.0)), (-0.05 * top, top)),
    )


def _list_shapes(plan: Plan, trace: Mapping[str, Any]) -> Iterator[Shape]:
    times = _ms(trace["jet_times"])
    low, middle, high = (_ms(row) for row in trace["jet"])
    early, light, late = _ms(trace["light"])
    yield Span("flash", early, late, name="light wanted, 5 to 95 %")
    yield Band("jet", times, low, high, name="jet, 5 to 95 %")
    yield Line("jet", times, middle, name="jet's tip, 50 %")
    for number, when, heights, _ in trace["drops"]:
        yield Line(f"drop{number}", _ms(when), _ms(heights), name=f"drop {number}, lowest point")
    yield Rule("flash", "x", light, name="light wanted, 50 %")
    yield Rule("water", "y", 0.0, text="surface")
    yield Rule("soft", "y", 1e3 * trace["nozzle"], "dotted", text="nozzle")
    for name, height in trace["beams"]:
        yield Rule("beam", "y", 1e3 * height, "dashed", text=name)
    height = 1e3 * trace["beams"][0][1] if trace["beams"] else None
    crossed = tuple(1e3 * edge for _, _, _, edge in trace["drops"] if edge is not None)
    if height is not None and crossed:
        yield Dots("beam", crossed, (height,) * len(crossed), name="drop meets the beam")
    edge = trace["drops"][plan.anchor.count - 1][3] if plan.anchor.count else 0.0
    if edge is not None:
        text = f"delay {plan.flash_delay_s * 1e3:.1f} ms"
        yield Arrow("flash", 1e3 * edge, light, 420.0 * trace["nozzle"], text, height)


def _ms(seconds: Sequence[float]) -> tuple[float, ...]:
    """Times in ms, or heights in mm."""
    return tuple(1e3 * one for one in seconds)
