"""Control charts of a series: each shot's value with limits, moving average and moving range."""

from __future__ import annotations

from collections.abc import Iterator

from beamfall.errors import UserError
from beamfall.plot.scene import Axis, Band, Chart, Dots, Line, Panel, Rule, Shape, Stems, View
from beamfall.repeatability import Assessment
from beamfall.repeatability.assess import Quantity

DRAWN = ("arrival", "dwell", "spacing")
_MOST_ROWS = 8


def describe_control(assessment: Assessment) -> Chart:
    """Return a row of panels for each quantity; raises UserError if no quantity has two values."""
    panels = [
        describe_quantity(one)
        for one in assessment.quantities
        if one.name in DRAWN and is_drawn(one)
    ]
    if not panels:
        raise UserError(
            f"series {assessment.data.series}: a control chart takes at least two shots whose drops "
            "were seen; fire more: beamfall shoot --count 10"
        )
    rig = (assessment.data.rig or {}).get("name", "no rig")
    return Chart(
        title=f"Series {assessment.data.series}: {assessment.data.shots} shots, {rig}",
        panels=tuple(panels[:_MOST_ROWS]),
    )


def is_drawn(quantity: Quantity) -> bool:
    """Whether there are enough values for a chart."""
    return quantity.individuals is not None and len(quantity.values_s) >= 2


def describe_quantity(quantity: Quantity) -> tuple[Panel, Panel]:
    """Return two panels: values in µs from their mean (the scatter is some 10⁻⁴ of the value), and ranges."""
    chart, ewma, spread = quantity.individuals, quantity.ewma, quantity.spread
    assert chart is not None and ewma is not None and spread is not None
    limit = 1e6 * (chart.upper - chart.centre)
    values = tuple(1e6 * (value - chart.centre) for value in quantity.values_s)
    outside = f"{len(chart.outside)} beyond the limits"
    main = _make_panel(
        _say_quantity(quantity),
        Axis("µs from the mean"),
        quantity.shots,
        tuple(_draw_individuals(quantity, values, limit)),
        (min(*values, -limit), max(*values, limit)),
        f"{quantity.name} of {quantity.of}: {len(values)} values, {outside}",
    )
    ranges = tuple(1e6 * one for one in chart.ranges)
    side = _make_panel(
        "Moving range: from each shot to the next",
        Axis("µs"),
        quantity.shots[1:],
        tuple(_draw_ranges(quantity, ranges)),
        (0.0, max(*ranges, 1e6 * chart.upper_range)),
        f"Moving ranges: {len(chart.ranges_outside)} beyond the limit",
    )
    return main, side


def _make_panel(
    title: str,
    y: Axis,
    shots: tuple[int, ...],
    shapes: tuple[Shape, ...],
    heights: tuple[float, float],
    said: str,
) -> Panel:
    room = max(0.5, 0.015 * (shots[-1] - shots[0]))
    low, high = heights
    pad = 0.12 * (high - low) or 1.0
    bottom = low - pad if low < 0.0 else 0.0
    view = View("All shots", (shots[0] - room, shots[-1] + room), (bottom, high + pad))
    return Panel(title, Axis("shot", whole=True), y, (view,), shapes, said=said)


def _draw_individuals(
    quantity: Quantity, values: tuple[float, ...], limit: float
) -> Iterator[Shape]:
    chart, ewma, shots = quantity.individuals, quantity.ewma, quantity.shots
    assert chart is not None and ewma is not None
    xs = tuple(float(shot) for shot in shots)
    widths = tuple(1e6 * width for width in ewma.half_widths)
    averages = tuple(1e6 * (value - chart.centre) for value in ewma.values)
    name = "limits of the moving average"
    yield Band("average", xs, tuple(-width for width in widths), widths, name=name)
    yield Rule("soft", "y", 0.0)
    for sign in (1, -1):
        text = f"limit {_signed(sign * limit)}"
        yield Rule("limit", "y", sign * limit, "dashed", text, name="control limits")
    if len(values) <= 150:
        yield Line("dot", xs, values, "dotted")
    titles = tuple(
        f"shot {shot}: {_signed(value)}" for shot, value in zip(shots, values, strict=True)
    )
    yield Dots("dot", xs, values, titles=titles, name="each shot")
    yield Line("average", xs, averages, name="moving average (EWMA)")
    yield from _mark_outside(chart.outside, xs, values, titles)
    titles = tuple(
        f"shot {shot}: moving average {_signed(one)}"
        for shot, one in zip(shots, averages, strict=True)
    )
    yield from _mark_outside(ewma.outside, xs, averages, titles)


def _draw_ranges(quantity: Quantity, ranges: tuple[float, ...]) -> Iterator[Shape]:
    chart, shots = quantity.individuals, quantity.shots
    assert chart is not None
    xs = tuple(float(shot) for shot in shots[1:])
    yield Rule("soft", "y", 1e6 * chart.mean_range, text=f"mean {1e6 * chart.mean_range:.1f} µs")
    limit = 1e6 * chart.upper_range
    yield Rule("limit", "y", limit, "dashed", f"limit {limit:.1f} µs", name="control limits")
    yield Stems("dot", xs, 0.0, ranges)
    titles = tuple(
        f"to shot {shot}: {one:.1f} µs" for shot, one in zip(shots[1:], ranges, strict=True)
    )
    yield from _mark_outside(tuple(n - 1 for n in chart.ranges_outside), xs, ranges, titles)


def _mark_outside(
    places: tuple[int, ...], xs: tuple[float, ...], ys: tuple[float, ...], titles: tuple[str, ...]
) -> Iterator[Shape]:
    if places:
        yield Dots(
            "bad", tuple(xs[n] for n in places), tuple(ys[n] for n in places), "square",
            tuple(f"{titles[n]}, beyond the limits" for n in places), name="beyond the limits",
        )  # fmt: skip


def _say_quantity(quantity: Quantity) -> str:
    assert quantity.spread is not None
    mean, scatter = quantity.spread.mean, quantity.spread.deviation * 1e6
    text = f"{quantity.of}, {quantity.name}: mean {mean * 1e3:.3f} ms, scatter {scatter:.1f} µs"
    if quantity.name == "spacing":
        text = (
            f"{quantity.of}, spacing minus the spacing of the openings: mean {_signed(mean * 1e6)}, "
            f"scatter {scatter:.1f} µs"
        )
    return text if quantity.scene_mm is None else f"{text} = {quantity.scene_mm:.3f} mm"


def _signed(micros: float) -> str:
    return f"{micros:+.1f} µs".replace("-", "−")
