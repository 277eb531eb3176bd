"""Draws the self-test: histograms of both kinds of error, under low and high load, with their figures."""

from __future__ import annotations

import math
from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING

from beamfall.board_tools.measure import Distribution, Measurement
from beamfall.plot.draw import save_figure
from beamfall.setup.unit_words import format_duration

if TYPE_CHECKING:
    from matplotlib.axes import Axes

_COLOURS = {"low": "#3b6ea5", "high": "#c8553d"}
_BINS = 60


def choose_unit(seconds: float) -> tuple[float, str]:
    """Return the factor and the unit's name for errors of that size."""
    for factor, name in ((1e9, "ns"), (1e6, "µs"), (1e3, "ms")):
        if abs(seconds) * factor < 2000:
            return factor, name
    return 1.0, "s"


def draw_measurement(found: Measurement, path: Path) -> None:
    """Draw into `path` (.png, .svg or .pdf). Raises UserError if it cannot be written."""
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    figure = Figure(figsize=(11.0, 7.0), dpi=110, layout="constrained")
    FigureCanvasAgg(figure)
    upper, lower = figure.subplots(2, 1)
    _draw_one(upper, "From edge to flash, minus the commanded delay", {
        load: result.flash_error for load, result in found.loads.items()
    }, found)  # fmt: skip
    _draw_one(lower, "Stamp of the beam, minus the stamp of the output wired to it", {
        load: result.stamp_error for load, result in found.loads.items()
    }, found)  # fmt: skip
    board = found.board
    interpreter = found.interpreter
    runs_on = f", MicroPython {interpreter['version']}" if interpreter else ""
    note = (
        "\nsimulated in virtual time: says nothing about the timing of real hardware"
        if found.simulated
        else ""
    )
    figure.suptitle(
        f"{board['name']}, firmware {board['firmware']}{runs_on}, timing {board['timing']}, {found.measured_at}{note}"
    )
    save_figure(figure, path)


def _draw_one(axes: Axes, title: str, kinds: dict[str, Distribution], found: Measurement) -> None:
    axes.set_title(title, loc="left")
    if found.simulated and not any(error for one in kinds.values() for error in one.errors_s):
        _say_exact(axes, kinds)
        return
    largest = max(max(abs(error) for error in one.errors_s) for one in kinds.values())
    factor, unit = choose_unit(max(largest, found.stamp_s))
    edges = [edge * factor for edge in list_bins(kinds, found.stamp_s)]
    for load, one in kinds.items():
        label = (
            f"{load} load, n = {one.count}: min {min(one.errors_s) * factor:.3g}, "
            f"median {one.quantile(0.5) * factor:.3g}, p99 {one.quantile(0.99) * factor:.3g}, "
            f"max {max(one.errors_s) * factor:.3g} {unit}"
        )
        axes.hist(
            [error * factor for error in one.errors_s], bins=edges,
            color=_COLOURS.get(load), alpha=0.6, label=label, log=True,
        )  # fmt: skip
    axes.set_xlabel(f"error, {unit} (one stamp: {format_duration(found.stamp_s)})")
    axes.set_ylabel("pulses")
    axes.legend(fontsize="small")


def list_bins(kinds: Mapping[str, Distribution], stamp_s: float) -> list[float]:
    """Return the edges of the bins in s: whole stamps wide, with at least two stamps on each side."""
    errors = [error for one in kinds.values() for error in one.errors_s]
    first, last = round(min(errors) / stamp_s) - 2, round(max(errors) / stamp_s) + 3
    width = max(1, math.ceil((last - first) / _BINS))
    return [(place - 0.5) * stamp_s for place in range(first, last + width, width)]


def _say_exact(axes: Axes, kinds: Mapping[str, Distribution]) -> None:
    """Draw text: a histogram of zeros alone would look like a measurement of a perfect board."""
    counts = " and ".join(f"{one.count} under {load} load" for load, one in kinds.items())
    axes.set_axis_off()
    axes.text(
        0.5, 0.55, "Simulated board: no timing errors", transform=axes.transAxes,
        ha="center", va="bottom", fontsize=16,
    )  # fmt: skip
    axes.text(
        0.5, 0.45, f"Every pulse came exactly on time ({counts}), because virtual time has no "
        "delays.\nMeasure a real board to see its distribution.",
        transform=axes.transAxes, ha="center", va="top", fontsize=11,
    )  # fmt: skip
