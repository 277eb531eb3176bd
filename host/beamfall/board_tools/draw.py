"""The self-test drawn: both kinds of error, under low and high load, as histograms with their figures."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from beamfall.board_tools.measure import Distribution, Measurement
from beamfall.errors import UserError

if TYPE_CHECKING:
    from matplotlib.axes import Axes

_COLOURS = {"low": "#3b6ea5", "high": "#c8553d"}
_BINS = 60


def choose_unit(seconds: float) -> tuple[float, str]:
    """Return what to multiply with, and the unit's name, for errors of that size."""
    for factor, name in ((1e9, "ns"), (1e6, "µs"), (1e3, "ms")):
        if abs(seconds) * factor < 2000:
            return factor, name
    return 1.0, "s"


def draw_measurement(found: Measurement, path: Path) -> None:
    """Draw into `path` (.png, .svg or .pdf). Raises UserError where it cannot be written."""
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    figure = Figure(figsize=(11.0, 7.0), dpi=110, layout="constrained")
    FigureCanvasAgg(figure)
    upper, lower = figure.subplots(2, 1)
    _draw_one(upper, "From the edge to the flash, less the commanded delay", {
        load: result.flash_error for load, result in found.loads.items()
    })  # fmt: skip
    _draw_one(lower, "Stamp of the beam, less the stamp of the output that is wired to it", {
        load: result.stamp_error for load, result in found.loads.items()
    })  # fmt: skip
    board = found.board
    interpreter = found.interpreter
    runs_on = f", MicroPython {interpreter['version']}" if interpreter else ""
    note = (
        "\nsimulated in virtual time: proves the plumbing, not a chip's timing"
        if found.simulated
        else ""
    )
    figure.suptitle(
        f"{board['name']}, firmware {board['firmware']}{runs_on}, timing {board['timing']}, {found.measured_at}{note}"
    )
    try:
        figure.savefig(path)
    except OSError as error:
        raise UserError(
            f"{path}: the picture cannot be written: {error.strerror or error}"
        ) from error
    except ValueError as error:  # matplotlib's word for an ending it does not know
        raise UserError(f"{path}: {error}; give a name that ends in .png, .svg or .pdf") from error


def _draw_one(axes: Axes, title: str, kinds: dict[str, Distribution]) -> None:
    largest = max(max(abs(error) for error in one.errors_s) for one in kinds.values())
    factor, unit = choose_unit(largest)
    low = min(min(one.errors_s) for one in kinds.values()) * factor
    high = max(max(one.errors_s) for one in kinds.values()) * factor
    if high - low < 1e-6:
        low, high = low - 1.0, high + 1.0
    for load, one in kinds.items():
        label = (
            f"{load} load, n = {one.count}: min {min(one.errors_s) * factor:.3g}, "
            f"median {one.quantile(0.5) * factor:.3g}, p99 {one.quantile(0.99) * factor:.3g}, "
            f"max {max(one.errors_s) * factor:.3g} {unit}"
        )
        axes.hist(
            [error * factor for error in one.errors_s], bins=_BINS, range=(low, high),
            color=_COLOURS.get(load), alpha=0.6, label=label, log=True,
        )  # fmt: skip
    axes.set_title(title, loc="left")
    axes.set_xlabel(f"error ({unit})")
    axes.set_ylabel("pulses")
    axes.legend(fontsize="small")
