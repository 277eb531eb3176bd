"""The report's own charts: where the drops came, and what a sweep made of it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from beamfall.plot.scene import Axis, Chart, Dots, Line, Panel, Row, Rule, Shape, View
from beamfall.repeatability import Assessment


@dataclass(frozen=True, slots=True)
class SweptShot:
    """One shot of a sweep: the value that was set, and what came of it (None: not known)."""

    value: float
    rating: int | None
    stage_ms: float | None  # light minus contact, of a simulated rig


def describe_scatter(assessment: Assessment) -> Chart | None:
    """Return arrivals of every drop around their mean, as dots with a bar of one standard deviation."""
    rows: list[Row] = []
    shapes: list[Shape] = []
    most = 0.0
    for quantity in assessment.quantities:
        if quantity.name not in ("arrival", "spacing") or quantity.spread is None:
            continue
        place, deviation = len(rows), 1e6 * quantity.spread.deviation
        offsets = tuple(1e6 * (value - quantity.spread.mean) for value in quantity.values_s)
        # Dots are spread upwards in order of firing, so that none hides another.
        step = 0.56 / max(1, len(offsets) - 1)
        heights = tuple(place + 0.28 - step * n for n in range(len(offsets)))
        shapes += [
            Dots("dot", offsets, heights, name="a shot"),
            Line("average", (-deviation, deviation), (place, place), name="one standard deviation"),
            Dots("average", (0.0,), (place,), "square"),
        ]
        rows.append(Row(f"{quantity.of}, {quantity.name}", "ink", f"±{deviation:.0f} µs"))
        most = max(most, 1.05 * deviation, *(1.05 * abs(one) for one in offsets))
    if not rows:
        return None
    view = View("All shots", (-most or -1.0, most or 1.0), (len(rows) - 0.5, -0.5))
    panel = Panel("", Axis("µs from the mean"), Axis(""), (view,), tuple(shapes), tuple(rows))
    return Chart("Scatter", ((panel,),))


def describe_sweep(shots: Sequence[SweptShot], label: str) -> Chart | None:
    """Return ratings, and for a simulated rig the moment that each light showed, against the swept value."""
    values = [one.value for one in shots]
    room = 0.03 * (max(values) - min(values) or 1.0)
    across = (min(values) - room, max(values) + room)
    panels = []
    staged = [(one.value, one.stage_ms) for one in shots if one.stage_ms is not None]
    if staged:
        xs, ys = zip(*staged, strict=True)
        pad = 0.1 * (max(*ys, 0.0) - min(*ys, 0.0)) or 1.0
        view = View("All shots", across, (min(*ys, 0.0) - pad, max(*ys, 0.0) + pad))
        shapes = (Rule("average", "y", 0.0, text="contact"), Dots("dot", xs, ys))
        axis = Axis("light after contact, ms\n(simulated truth)")
        panels.append((Panel("", Axis(label), axis, (view,), shapes),))
    rated = [(one.value, float(one.rating)) for one in shots if one.rating is not None]
    if rated:
        xs, ys = zip(*rated, strict=True)
        view = View("All shots", across, (0.5, 5.5))
        axis = Axis("rating", whole=True)
        panels.append((Panel("", Axis(label), axis, (view,), (Dots("light", xs, ys),)),))
    return Chart(f"Sweep of {label}", tuple(panels)) if panels else None
