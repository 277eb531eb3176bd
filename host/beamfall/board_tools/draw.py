"""Draws the self-test: histograms of both kinds of error, under low and high load, with their figures."""

from __future__ import annotations

import math
from collections.abc import Mapping
from pathlib import Path

from beamfall.board_tools.measure import Distribution, Measurement
from beamfall.plot.draw import draw_chart
from beamfall.plot.histogram import describe_histogram
from beamfall.plot.scene import Axis, Chart, Note, Panel, View
from beamfall.setup.unit_words import format_duration

_ROLES = {"low": "dot", "high": "flash"}
SIMULATED = "simulated in virtual time: says nothing about the timing of real hardware"
_BINS = 60


def choose_unit(seconds: float) -> tuple[float, str]:
    """Return the factor and the unit's name for errors of that size."""
    for factor, name in ((1e9, "ns"), (1e6, "µs"), (1e3, "ms")):
        if abs(seconds) * factor < 2000:
            return factor, name
    return 1.0, "s"


def draw_measurement(found: Measurement, path: Path) -> None:
    """Draw into `path` (.png, .svg or .pdf). Raises UserError if it cannot be written."""
    loads = found.loads.items()
    panels = (
        _describe_one("From edge to flash, minus the commanded delay", {
            load: result.flash_error for load, result in loads
        }, found),
        _describe_one("Stamp of the beam, minus the stamp of the output wired to it", {
            load: result.stamp_error for load, result in loads
        }, found),
    )  # fmt: skip
    board = found.board
    interpreter = found.interpreter
    runs_on = f", MicroPython {interpreter['version']}" if interpreter else ""
    title = f"{board['name']}, firmware {board['firmware']}{runs_on}, timing {board['timing']}, {found.measured_at}"
    draw_chart(
        Chart(title, tuple((one,) for one in panels), SIMULATED if found.simulated else ""), path
    )


def _describe_one(title: str, kinds: Mapping[str, Distribution], found: Measurement) -> Panel:
    if found.simulated and not any(error for one in kinds.values() for error in one.errors_s):
        return _say_exact(title, kinds)
    largest = max(max(abs(error) for error in one.errors_s) for one in kinds.values())
    factor, unit = choose_unit(max(largest, found.stamp_s))
    figures = [
        f"{load} load, n = {one.count}: min {min(one.errors_s) * factor:.3g}, "
        f"median {one.quantile(0.5) * factor:.3g}, p99 {one.quantile(0.99) * factor:.3g}, "
        f"max {max(one.errors_s) * factor:.3g} {unit}"
        for load, one in kinds.items()
    ]
    return describe_histogram(
        "\n".join((title, *figures)),
        f"error, {unit} (one stamp: {format_duration(found.stamp_s)})",
        [edge * factor for edge in list_bins(kinds, found.stamp_s)],
        [
            (_ROLES[load], f"{load} load", [error * factor for error in one.errors_s])
            for load, one in kinds.items()
        ],
    )


def list_bins(kinds: Mapping[str, Distribution], stamp_s: float) -> list[float]:
    """Return the edges of the bins in s: whole stamps wide, with at least two stamps on each side."""
    errors = [error for one in kinds.values() for error in one.errors_s]
    first, last = round(min(errors) / stamp_s) - 2, round(max(errors) / stamp_s) + 3
    width = max(1, math.ceil((last - first) / _BINS))
    return [(place - 0.5) * stamp_s for place in range(first, last + width, width)]


def _say_exact(title: str, kinds: Mapping[str, Distribution]) -> Panel:
    """Words only: a histogram of zeros would look like a measurement of a perfect board."""
    counts = " and ".join(f"{one.count} under {load} load" for load, one in kinds.items())
    text = (
        f"Simulated board: no timing errors. Every pulse came exactly on time ({counts}),\n"
        "because virtual time has no delays. Measure a real board to see its distribution."
    )
    view = View("", (0.0, 1.0), (0.0, 1.0))
    return Panel(title, Axis(""), Axis(""), (view,), (Note("ink", 0.02, 0.5, text),))
