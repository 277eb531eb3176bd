"""Control charts of a series: each shot's value with limits, moving average and moving range."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

from beamfall.errors import UserError

if TYPE_CHECKING:
    from beamfall.repeatability import Assessment
    from beamfall.repeatability.assess import Quantity

_INK, _MUTED, _GRID = "#1d2733", "#5b6875", "#d9dee3"
_POINT, _AVERAGE, _LIMIT, _BAD = "#2f6f9f", "#c77700", "#7a8794", "#b3261e"
_ROW_INCHES = 2.7
_MOST_ROWS = 8


def draw_charts(assessment: Assessment, file: Path) -> None:
    """Draw the charts into a PNG. Raises UserError where there is nothing to draw or no place for it."""
    from matplotlib.figure import Figure

    figure = make_figure(assessment)
    assert isinstance(figure, Figure)
    try:
        figure.savefig(file, dpi=120)
    except (OSError, ValueError) as error:
        raise UserError(f"{file}: the plot cannot be written there ({error})") from error


def make_figure(
    assessment: Assessment, names: tuple[str, ...] = ("arrival", "dwell", "spacing")
) -> Any:
    """Return the charts of these quantities as a matplotlib figure; raises UserError where there are none."""
    from matplotlib.figure import Figure

    rows = [
        one for one in assessment.quantities if one.name in names and one.individuals is not None
    ]
    rows = [one for one in rows if len(one.values_s) >= 2][:_MOST_ROWS]
    if not rows:
        raise UserError(
            f"series {assessment.data.series}: a control chart takes at least two shots whose drops "
            "were seen"
        )
    figure = Figure(figsize=(11.0, 1.1 + _ROW_INCHES * len(rows)), layout="constrained")
    rig = (assessment.data.rig or {}).get("name", "no rig")
    figure.suptitle(
        f"Series {assessment.data.series}: {assessment.data.shots} shots, {rig}",
        x=0.008, ha="left", fontsize=13, color=_INK, fontweight="bold",
    )  # fmt: skip
    axes = figure.subplots(len(rows), 2, squeeze=False, width_ratios=(3, 1.4))
    for (main, side), quantity in zip(axes, rows, strict=True):
        _draw_individuals(main, quantity)
        _draw_ranges(side, quantity)
    axes[-1][0].set_xlabel("shot", color=_MUTED)
    axes[-1][1].set_xlabel("shot", color=_MUTED)
    handles, labels = axes[0][0].get_legend_handles_labels()
    figure.legend(
        handles, labels, loc="outside lower left", ncols=len(labels), frameon=False, fontsize=9
    )
    return figure


def _draw_individuals(axes: Any, quantity: Quantity) -> None:
    chart, ewma = quantity.individuals, quantity.ewma
    assert chart is not None and ewma is not None and quantity.spread is not None
    # Differences from the mean in µs: the scatter is some 10⁻⁴ of the value itself.
    values = [1e6 * (value - chart.centre) for value in quantity.values_s]
    averages = [1e6 * (value - chart.centre) for value in ewma.values]
    widths = [1e6 * width for width in ewma.half_widths]
    limit = 1e6 * (chart.upper - chart.centre)
    shots = quantity.shots
    axes.axhline(0.0, color=_LIMIT, linewidth=0.9)
    for sign in (-1, 1):
        axes.axhline(
            sign * limit, color=_LIMIT, linewidth=0.9, linestyle=(0, (5, 3)),
            label="control limits" if sign > 0 else None,
        )  # fmt: skip
    axes.fill_between(
        shots, [-w for w in widths], widths, color=_AVERAGE, alpha=0.13, linewidth=0,
        label="limits of the moving average",
    )  # fmt: skip
    many = len(values) > 150
    axes.plot(
        shots, values, color=_POINT, marker="o", markersize=2.0 if many else 3.5,
        linewidth=0 if many else 0.7, label="each shot",
    )  # fmt: skip
    axes.plot(shots, averages, color=_AVERAGE, linewidth=1.8, label="moving average (EWMA)")
    bad = chart.outside
    axes.plot(
        [shots[n] for n in bad], [values[n] for n in bad], color=_BAD, marker="o", markersize=5.5,
        linewidth=0, label="beyond the limits",
    )  # fmt: skip
    _dress(axes)
    mean = quantity.spread.mean * 1e3
    title = f"{quantity.of}, {quantity.name}: mean {mean:.3f} ms, scatter {quantity.spread.deviation * 1e6:.1f} µs"
    if quantity.name == "spacing":
        title = (
            f"{quantity.of}, spacing against the openings': mean {mean * 1e3:+.1f} µs, "
            f"scatter {quantity.spread.deviation * 1e6:.1f} µs"
        )
    if quantity.scene_mm is not None:
        title += f" = {quantity.scene_mm:.3f} mm"
    axes.set_title(title, loc="left", fontsize=10, color=_INK)
    axes.set_ylabel("µs from the mean", color=_MUTED, fontsize=9)


def _draw_ranges(axes: Any, quantity: Quantity) -> None:
    chart = quantity.individuals
    assert chart is not None
    ranges = [1e6 * one for one in chart.ranges]
    shots = quantity.shots[1:]
    axes.axhline(1e6 * chart.mean_range, color=_LIMIT, linewidth=0.9)
    axes.axhline(1e6 * chart.upper_range, color=_LIMIT, linewidth=0.9, linestyle=(0, (5, 3)))
    axes.vlines(shots, 0.0, ranges, color=_POINT, linewidth=0.8 if len(ranges) > 60 else 1.6)
    bad = [n - 1 for n in chart.ranges_outside]
    axes.plot(
        [shots[n] for n in bad], [ranges[n] for n in bad], color=_BAD, marker="o", markersize=4.5, linewidth=0
    )  # fmt: skip
    _dress(axes)
    axes.set_ylim(bottom=0.0)
    axes.set_title("moving range, µs", loc="left", fontsize=10, color=_INK)


def _dress(axes: Any) -> None:
    from matplotlib.ticker import MaxNLocator

    axes.grid(axis="y", color=_GRID, linewidth=0.6)
    axes.set_axisbelow(True)
    axes.xaxis.set_major_locator(MaxNLocator(integer=True, nbins=8))
    axes.margins(x=0.015)
    axes.tick_params(colors=_MUTED, labelsize=9)
    for side in ("top", "right"):
        axes.spines[side].set_visible(False)
    for side in ("left", "bottom"):
        axes.spines[side].set_color(_LIMIT)
