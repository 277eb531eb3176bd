"""How much the picture's stage scatters with each edge that the flash could follow.

    python tests/benchmarks/anchor_scatter.py [--rigs 12] [--shots 150]

Simulated rigs of the example file are fired again and again at the planned spacing. A flash does
not move a drop, so one run serves every anchor: the stage's scatter is that of the time from the
anchor to the contact. Beside it what the planner predicts, which knows only the file.
"""

from __future__ import annotations

import argparse
import statistics

from hidden_rigs import Board

from beamfall.planning.collision import plan_collision
from beamfall.setup.rig import example_rig
from beamfall.sim.build import build_rig

ANCHORS = ("drop 2's edge", "drop 1's edge", "release")


def measure(seed: int, shots: int, spacing_s: float, opening_s: float) -> dict[str, float]:
    """Standard deviation of anchor-to-contact, in s, for each anchor of one rig."""
    board = Board(build_rig(None, seed))
    gaps: dict[str, list[float]] = {name: [] for name in ANCHORS}
    for _ in range(shots):
        shot = board.play(spacing_s, opening_s, 0.15)
        if shot is None or shot["picture"].stage_s is None:
            continue
        # The contact by the light that was given, whatever anchor it had.
        contact = shot["flash_s"] + board.rig.model.flashes[0].latency_s - shot["picture"].stage_s
        first, second = shot["edges_s"]
        for name, base in zip(ANCHORS, (second, first, 0.0), strict=True):
            gaps[name].append(contact - base)
    return {name: statistics.stdev(values) for name, values in gaps.items() if len(values) > 20}


def main() -> None:
    """Run it."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--rigs", type=int, default=12)
    parser.add_argument("--shots", type=int, default=150)
    options = parser.parse_args()
    rig = example_rig()
    plan = plan_collision(rig)
    assert plan.spacing_s is not None
    opening = rig.valves[0].opening_s
    runs = [measure(seed, options.shots, plan.spacing_s, opening) for seed in range(options.rigs)]
    runs = [run for run in runs if run]
    predicted = {choice.anchor.count: choice.scatter_s for choice in plan.anchors}
    print(
        f"{len(runs)} simulated rigs, {options.shots} shots each; standard deviation of the stage"
    )
    print(
        f"  {'flash follows':16s} {'planner':>9s} {'measured, rms':>14s} {'least':>8s} {'most':>8s}"
    )
    for name, count in zip(ANCHORS, (2, 1, 0), strict=True):
        values = [run[name] for run in runs]
        rms = (sum(v * v for v in values) / len(values)) ** 0.5
        print(
            f"  {name:16s} {predicted[count] * 1e3:6.3f} ms {rms * 1e3:11.3f} ms"
            f" {min(values) * 1e3:5.3f} ms {max(values) * 1e3:5.3f} ms"
        )


if __name__ == "__main__":
    main()
