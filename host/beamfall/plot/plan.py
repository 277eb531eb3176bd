"""A plan as a picture: heights against time for the drops, with beam, surface, jet band and flash."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

from beamfall.errors import UserError

if TYPE_CHECKING:
    from matplotlib.axes import Axes

    from beamfall.planning.result import Plan

# Okabe & Ito (2008), as in the timeline.
_DROPS = ("#0072B2", "#009E73", "#CC79A7")
_WHITE = {"facecolor": "white", "edgecolor": "none", "pad": 1.0}
_BEAM, _FLASH, _JET, _SURFACE = "#E69F00", "#D55E00", "#56B4E9", "#1d4c66"


def draw_plan(plan: Plan, path: str | Path) -> None:
    """Draw a plan made with `traced=True` into `path` (.png, .svg or .pdf).

    Left the whole fall, right the last centimetres, where drop, jet and flash must meet. Raises
    UserError where the file cannot be written or its ending is unknown.
    """
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    trace = plan.trace
    if trace is None:
        raise ValueError("a plan without a trace cannot be drawn: make it with traced=True")
    figure = Figure(figsize=(13.0, 6.2), dpi=110, layout="constrained")
    FigureCanvasAgg(figure)
    whole, near = figure.subplots(1, 2, width_ratios=(1.25, 1.0))
    _draw_curves(whole, trace)
    _draw_curves(near, trace)
    _frame_whole(whole, plan, trace)
    _frame_near(near, plan, trace)
    handles, labels = whole.get_legend_handles_labels()
    figure.legend(handles, labels, loc="outside lower center", ncols=4, fontsize=9)
    figure.suptitle(_make_title(plan), fontsize=11)
    try:
        figure.savefig(path)
    except OSError as error:
        raise UserError(
            f"{path}: the picture cannot be written: {error.strerror or error}"
        ) from error
    except ValueError as error:  # matplotlib's word for an ending it does not know
        raise UserError(f"{path}: {error}; give a name that ends in .png, .svg or .pdf") from error


def _make_title(plan: Plan) -> str:
    spacing = "" if plan.spacing_s is None else f"spacing {plan.spacing_s * 1e3:.1f} ms, "
    return (
        f"{plan.kind} planned for {plan.rig_name}: {spacing}flash {plan.flash_delay_s * 1e3:.1f} ms after "
        f"{plan.anchor.describe()}"
    )


def _draw_curves(axes: Axes, trace: Any) -> None:
    times = [1e3 * t for t in trace["jet_times"]]
    low, middle, high = ([1e3 * h for h in row] for row in trace["jet"])
    axes.fill_between(times, low, high, color=_JET, alpha=0.35, linewidth=0, label="jet, 5 to 95 %")
    axes.plot(times, middle, color=_JET, linewidth=1.4, label="jet's tip, 50 %")
    for number, when, heights, _ in trace["drops"]:
        axes.plot(
            [1e3 * t for t in when], [1e3 * h for h in heights],
            color=_DROPS[(number - 1) % 3], linewidth=2.0, label=f"drop {number}, lowest point",
        )  # fmt: skip
    early, light, late = (1e3 * t for t in trace["light"])
    axes.axvspan(
        early, late, color=_FLASH, alpha=0.18, linewidth=0, label="light wanted, 5 to 95 %"
    )
    axes.axvline(light, color=_FLASH, linewidth=1.6, label="light wanted, 50 %")
    axes.axhline(0.0, color=_SURFACE, linewidth=2.0)
    for name, height in trace["beams"]:
        axes.axhline(1e3 * height, color=_BEAM, linewidth=1.4, linestyle="--", label=name)
    for _, _, _, edge in trace["drops"]:
        if edge is not None and trace["beams"]:
            axes.plot([1e3 * edge], [1e3 * trace["beams"][0][1]], "o", color=_BEAM, markersize=6)
    axes.set_xlabel("ms after drop 1's valve opens")
    axes.grid(True, alpha=0.25)


def _frame_whole(axes: Axes, plan: Plan, trace: Any) -> None:
    nozzle = 1e3 * trace["nozzle"]
    axes.axhline(nozzle, color="#555555", linewidth=1.0, linestyle=":")
    axes.annotate("nozzle", (1.0, nozzle), xycoords=("axes fraction", "data"), ha="right", va="bottom",
                  fontsize=9, color="#555555")  # fmt: skip
    axes.annotate("surface", (0.005, 0.0), xycoords=("axes fraction", "data"), va="bottom",
                  fontsize=9, color=_SURFACE)  # fmt: skip
    axes.set_ylim(-0.03 * nozzle, 1.06 * nozzle)
    axes.set_xlim(left=0.0)
    axes.set_ylabel("mm above the surface")
    edge = trace["drops"][plan.anchor.count - 1][3] if plan.anchor.count else 0.0
    if edge is None:
        return
    start, light = 1e3 * edge, 1e3 * trace["light"][1]
    height = 0.42 * nozzle
    axes.annotate(
        "", (light, height), (start, height), arrowprops={"arrowstyle": "<->", "color": _FLASH}
    )
    axes.text(0.5 * (start + light), height + 0.02 * nozzle, f"delay {plan.flash_delay_s * 1e3:.1f} ms",
              ha="center", fontsize=9, color=_FLASH, bbox=_WHITE)  # fmt: skip
    axes.plot([start, start], [height, 1e3 * trace["beams"][0][1] if trace["beams"] else height],
              color=_FLASH, linewidth=0.8, linestyle=":")  # fmt: skip


def _frame_near(axes: Axes, plan: Plan, trace: Any) -> None:
    top = max(20.0, 1.25e3 * max(trace["jet"][2]))
    early, light, late = (1e3 * t for t in trace["light"])
    start = min(1e3 * trace["jet_times"][0], early) - 8.0
    axes.set_xlim(start, max(late + 25.0, light + 30.0))
    axes.set_ylim(-0.05 * top, top)
    axes.set_title("the last centimetres", fontsize=10)
    axes.annotate("surface", (0.01, 0.0), xycoords=("axes fraction", "data"), va="bottom",
                  fontsize=9, color=_SURFACE)  # fmt: skip
