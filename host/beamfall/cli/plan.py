"""`beamfall plan`: from the rig's geometry and liquid to the times of a shot."""

from __future__ import annotations

from pathlib import Path

import typer

from beamfall.cli.options import RIG
from beamfall.cli.output import print_json, print_pairs, print_table
from beamfall.cli.targets import DRAWINGS, check_target
from beamfall.planning.belief import Belief
from beamfall.planning.learned import find_file, load_learned
from beamfall.planning.make import make_plan
from beamfall.planning.result import Plan
from beamfall.planning.stage import find_stage
from beamfall.plot.draw import draw_chart
from beamfall.plot.plan import describe_plan
from beamfall.setup.rig import load_rig
from beamfall.text import show_text

_NAMES = {
    "nozzle_to_beam": "nozzle to beam",
    "beam_to_surface": "beam to surface",
    "jet_onset": "impact to jet onset",
    "jet_rise": "jet rise",
    "spacing": "required spacing",
    **{f"spacing_to_drop_{n}": f"from opening {n - 1} to opening {n}" for n in range(3, 9)},
    "flash_delay": "required flash delay",
    "flash_delay_at_planned_spacing": "flash delay at this spacing",
    "flash_after_first_edge": "flash after the first edge",
}
_QUANTITIES = {
    "jet_height_mm": ("jet height", "mm"),
    "drop_diameter_mm": ("drop diameter", "mm"),
    "impact_speed_m_s": ("impact speed", "m/s"),
}


def plan(
    rig_file: Path | None = RIG,
    stage: str | None = typer.Option(
        None, help="Time from contact to light in the picture you want, such as '2 ms'."
    ),
    fresh: bool = typer.Option(
        False, "--fresh", help="Ignore what seek and calibrate have learned about this rig."
    ),
    as_json: bool = typer.Option(False, "--json", help="The plan as one JSON object, times in ms."),
    plot: Path | None = typer.Option(None, help="Draw heights against time (PNG)."),
) -> None:
    """Calculate the timings of a shot. Opens no port.

    Each timing has an interval that holds it in 90 % of rigs that fit this file. The plan uses what
    `beamfall seek` and `beamfall calibrate` have learned, unless you give --fresh.
    """
    check_target(plot, "--plot", DRAWINGS)
    rig = load_rig(rig_file)
    learned = None if fresh else load_learned(find_file(rig_file))
    stage_s = find_stage(stage, rig, key="--stage", learned=learned)
    made = make_plan(rig, stage_s=stage_s, learned=learned, traced=plot is not None)
    if plot is not None:
        draw_chart(describe_plan(made), plot)
    if as_json:
        print_json(made.to_json())
        return
    _print_plan(made, rig_file, learned)
    if plot is not None:
        print(f"\nheights against time drawn in {show_text(plot)}")


def _print_drops(made: Plan) -> None:
    start = min(drop.at_s for drop in made.drops)
    heads = ("drop", "opens at", "for")
    print_table(
        ("drop", "valve", "opens at", "for", "what it does"),
        [
            (
                str(drop.number),
                drop.valve.output,
                f"{(drop.at_s - start) * 1e3:.2f} ms",
                f"{drop.valve.opening_s * 1e3:.4g} ms",
                drop.role.value + (" (time set by the rig file)" if drop.fixed else ""),
            )
            for drop in made.drops
        ],
        numeric=heads,
    )
    print()


def _print_plan(made: Plan, rig_file: Path | None, learned: Belief | None) -> None:
    named = f"{made.rig_name} ({rig_file})" if rig_file else f"{made.rig_name} (the example rig)"
    stage = f"{made.stage_s * 1e3:.2f} ms after the {'contact' if made.kind == 'collision' else made.kind}"
    meeting = "drop 2 meets a jet" if len(made.drops) < 3 else "the drops meet"
    chance = "" if made.chance is None else f"{100 * made.chance:.1f} % that {meeting}"
    print_pairs(
        (
            ("rig", named),
            ("picture", f"{made.kind}, light {stage}"),
            ("spacing", "" if made.spacing_s is None else f"{made.spacing_s * 1e3:.3f} ms"),
            ("flash", f"{made.flash_delay_s * 1e3:.3f} ms after {made.anchor.describe()}"),
            ("chance", chance),
        )
    )
    print()
    if len(made.drops) > 2:
        _print_drops(made)
    rows = [
        (_NAMES.get(name, name), *(f"{1e3 * v:.2f}" for v in (i.p5, i.p50, i.p95)), "ms")
        for name, i in made.intervals.items()
    ]
    rows += [
        (
            _QUANTITIES[name][0],
            *(f"{1e3 * v:.2f}" for v in (i.p5, i.p50, i.p95)),
            _QUANTITIES[name][1],
        )
        for name, i in made.quantities.items()
    ]
    heads = ("low (5 %)", "median", "high (95 %)")
    print_table(("", *heads, "unit"), rows, numeric=heads)
    print()
    print_table(
        ("flash follows", "scatter of the picture", "", "why"),
        [
            (
                choice.anchor.describe(),
                f"{choice.scatter_s * 1e3:.3f} ms",
                "chosen" if choice.chosen else "",
                choice.why,
            )
            for choice in made.anchors
        ],
        numeric=("scatter of the picture",),
    )
    print("\nAssumptions:")
    for line in made.assumptions:
        print(f"  {line}")
    if learned is not None and learned.simulated and learned.describe() in made.assumptions:
        print("  (learned on the simulated rig; --fresh plans without it)")
    for caution in made.warnings:
        print(f"Caution: {caution.text}")
