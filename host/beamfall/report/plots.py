"""The report's own plots: where the drops came, and what a sweep made of it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from beamfall.repeatability import Assessment

_INK, _MUTED, _GRID = "#1d2733", "#5b6875", "#d9dee3"
_POINT, _MEAN, _RATED = "#2f6f9f", "#c77700", "#7a4fa3"


@dataclass(frozen=True, slots=True)
class SweptShot:
    """One shot of a sweep: the value that was set, and what came of it (None: not known)."""

    value: float
    rating: int | None
    stage_ms: float | None  # light minus contact, of a simulated rig


def draw_scatter(assessment: Assessment) -> Any | None:
    """Return arrivals of every drop around their mean, as dots with a bar of one standard deviation."""
    from matplotlib.figure import Figure

    rows = [
        q
        for q in assessment.quantities
        if q.name in ("arrival", "spacing") and q.spread is not None
    ]
    if not rows:
        return None
    figure = Figure(figsize=(10.0, 1.2 + 0.8 * len(rows)), layout="constrained")
    axes = figure.subplots()
    for place, quantity in enumerate(rows):
        assert quantity.spread is not None
        mean, deviation = quantity.spread.mean, quantity.spread.deviation
        offsets = [1e6 * (value - mean) for value in quantity.values_s]
        # Dots are spread upwards in order of firing, so that none hides another.
        heights = [-place - 0.28 + 0.56 * n / max(1, len(offsets) - 1) for n in range(len(offsets))]
        axes.plot(offsets, heights, "o", color=_POINT, markersize=3.2, alpha=0.55)
        axes.errorbar(
            0.0, -place, xerr=1e6 * deviation, color=_MEAN, capsize=7, elinewidth=2.2, capthick=2.2, marker="|",
            markersize=16,
        )  # fmt: skip
    axes.set_yticks(
        [-n for n in range(len(rows))],
        [f"{q.of}\n{q.name}, ±{q.spread.deviation * 1e6:.0f} µs" for q in rows if q.spread],
    )
    _dress(axes, "x")
    axes.set_xlabel("µs from the mean; bar: one standard deviation", color=_MUTED)
    axes.set_ylim(-len(rows) + 0.45, 0.55)
    return figure


def draw_sweep(shots: Sequence[SweptShot], label: str) -> Any | None:
    """Return ratings, and for a simulated rig the moment that each light showed, against the swept value."""
    from matplotlib.figure import Figure

    rated = [(one.value, one.rating) for one in shots if one.rating is not None]
    staged = [(one.value, one.stage_ms) for one in shots if one.stage_ms is not None]
    panels = [panel for panel in (staged, rated) if panel]
    if not panels:
        return None
    figure = Figure(figsize=(10.0, 0.8 + 2.6 * len(panels)), layout="constrained")
    for axes, panel in zip(
        figure.subplots(len(panels), 1, squeeze=False)[:, 0], panels, strict=True
    ):
        is_stage = panel is staged
        axes.plot(
            [x for x, _ in panel], [y for _, y in panel], "o", markersize=5,
            color=_POINT if is_stage else _RATED,
        )  # fmt: skip
        if is_stage:
            axes.axhline(0.0, color=_MEAN, linewidth=1.2)
            axes.annotate(
                "contact", (1.0, 0.0), xycoords=("axes fraction", "data"), xytext=(-4, 4),
                textcoords="offset points", ha="right", color=_MEAN, fontsize=9,
            )  # fmt: skip
            axes.set_ylabel("light after contact, ms\n(simulated truth)", color=_MUTED)
        else:
            axes.set_ylabel("rating", color=_MUTED)
            axes.set_ylim(0.5, 5.5)
            axes.set_yticks(range(1, 6))
        values = [one.value for one in shots]
        room = 0.03 * (max(values) - min(values) or 1.0)
        axes.set_xlim(min(values) - room, max(values) + room)
        _dress(axes, "both")
    axes.set_xlabel(label, color=_MUTED)
    return figure


def _dress(axes: Any, grid: str) -> None:
    axes.grid(axis=grid, color=_GRID, linewidth=0.6)
    axes.set_axisbelow(True)
    axes.tick_params(colors=_INK, labelsize=9)
    for side in ("top", "right"):
        axes.spines[side].set_visible(False)
    for side in ("left", "bottom"):
        axes.spines[side].set_color(_MUTED)
