"""How often the planner's 90 % intervals hold the truth of hidden rigs, and how wide they are.

    python tests/benchmarks/plan_coverage.py [--rigs 1000] [--first 0] [--world same] [--drops 3] [--second 2]
        [--aim jet]

Prints, for each quantity and world (see drawn_rigs.py), how often the interval held the truth, its
median width, and that width over the spread (5 to 95 %) of the truths around the plan's medians. Where one valve
lets drops 2 and 3 fall, the gap between them is the planner's own choice: such a point is no interval, and does not
count. `--second 2`: two nozzles stand side by side, and drop 2 falls from the second onto the jet of the first;
`--drops 3 --second 3`: drop 3 does, onto the umbrella. First comes the common-practice case of a nozzle at 0.61 m and
a beam at 0.48 m (280 ms after the first edge; common practice, no source), last what the shots at the planned times
show. The spreads of the planner were
chosen on rigs from 2000 on (`--first 2000`); the figures are those of rigs 0 to 999.
"""

from __future__ import annotations

import argparse
import statistics
from dataclasses import replace
from itertools import pairwise

import numpy as np
from drawn_rigs import WORLDS
from hidden_rigs import HiddenRigs

from beamfall.planning.collision import plan_collision
from beamfall.planning.make import make_plan
from beamfall.setup.rig import Rig, example_rig
from beamfall.setup.rig_shot import KINDS

QUANTITIES = (
    "nozzle_to_beam", "beam_to_surface", "jet_onset", "spacing", "flash_delay",
    "flash_after_first_edge",
)  # fmt: skip

_POINT_S = 1e-6


def measure(
    world: str,
    count: int,
    first: int = 0,
    drops: int = 2,
    aim: str = "collision",
    second: int | None = None,
) -> None:
    """Print coverage and width of every interval in a world, for rigs from number `first` on."""
    later = [f"spacing_to_drop_{n}" for n in range(3, drops + 1)]
    names = [*QUANTITIES, *later]
    if aim != "collision":
        names.remove("spacing")
    if aim == "crown":
        names.remove("jet_onset")
    held = dict.fromkeys(names, 0)
    widths: dict[str, list[float]] = {name: [] for name in names}
    errors: dict[str, list[float]] = {name: [] for name in names}  # truth less the plan's median
    rigs = 0
    words: dict[str, int] = {}
    with HiddenRigs() as hidden:
        for number in range(first, first + count):
            hide = {"number": number, "world": world, "drops": drops, "aim": aim, "second": second}
            rig = Rig.from_dict(hidden.ask("hide", **hide))
            plan = make_plan(rig)
            times = [drop.at_s for drop in plan.drops]
            said = hidden.ask("fire", times_s=times, delay_s=plan.flash_delay_s)
            words[said["word"]] = words.get(said["word"], 0) + 1
            needs = hidden.ask("reveal", stage_s=plan.stage_s)["needs"]
            if needs is None:
                continue
            rigs += 1
            openings = [needs["spacing_s"], *needs.pop("later_s")]
            for name, gap in zip(later, pairwise(openings), strict=True):
                needs[f"{name}_s"] = gap[1] - gap[0]
            for name in names:
                interval = plan.intervals[name]
                if interval.p95 - interval.p5 < _POINT_S:
                    continue
                widths[name].append(interval.p95 - interval.p5)
                errors[name].append(needs[f"{name}_s"] - interval.p50)
                held[name] += interval.holds(needs[f"{name}_s"])
    print(f"\nworld '{world}', {rigs} hidden rigs")
    print(f"  {'quantity':26s} {'held':>7s} {'median width':>14s} {'over the spread':>16s}")
    for name in (one for one in names if widths[one]):
        share = held[name] / len(widths[name])
        width = statistics.median(widths[name])
        spread = float(np.subtract(*np.percentile(errors[name], (95.0, 5.0))))
        print(f"  {name:26s} {share:7.1%} {width * 1e3:11.1f} ms {width / spread:16.2f}")
    print(f"  all together: {sum(held.values()) / sum(map(len, widths.values())):.1%}")
    shown = ", ".join(f"{word} {n / count:.0%}" for word, n in sorted(words.items()))
    print(f"  first shot at the planned times shows: {shown}", flush=True)


def show_common_practice() -> None:
    """Print the interval that must hold 280 ms."""
    rig = example_rig()
    rig = replace(
        rig,
        valves=(replace(rig.valves[0], height_m=0.61),),
        beams=(replace(rig.beams[0], height_m=0.48),),
    )
    interval = plan_collision(rig).intervals["flash_after_first_edge"]
    inside = "inside" if interval.holds(0.280) else "OUTSIDE"
    print(
        f"common practice: 280 ms after the first edge lies {inside} "
        f"{interval.p5 * 1e3:.1f} .. {interval.p95 * 1e3:.1f} ms (middle {interval.p50 * 1e3:.1f} ms)"
    )


def main() -> None:
    """Run it."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--rigs", type=int, default=1000)
    parser.add_argument("--first", type=int, default=0, help="number of the first rig")
    parser.add_argument("--world", choices=WORLDS)
    parser.add_argument("--drops", type=int, default=2, choices=(2, 3, 4))
    parser.add_argument(
        "--second",
        type=int,
        choices=(2, 3),
        help="drop from which on a second nozzle lets them fall",
    )
    parser.add_argument("--aim", default="collision", choices=KINDS)
    options = parser.parse_args()
    show_common_practice()
    # More drops fall on rigs of their own, which the last two worlds do not draw.
    worlds = WORLDS if options.drops == 2 and options.second is None else WORLDS[:2]
    for world in [options.world] if options.world else worlds:
        measure(world, options.rigs, options.first, options.drops, options.aim, options.second)


if __name__ == "__main__":
    main()
