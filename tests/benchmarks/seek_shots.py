"""How many shots a search takes on hidden rigs, beside a plain linear sweep.

    python tests/benchmarks/seek_shots.py [--rigs 200] [--world same|other] [--heights]

A shot counts as found when its own picture is within 1 ms of the wanted stage. 'found at': the
first such shot of a search that goes on until its own rule stops it. 'stopped at': where that rule
(85 % sure of the newest picture) ended it, and how often that picture then was the wanted one.
The linear sweep starts at the planner's values and moves the flash by 2 ms, up and down in turn
(+0, +2, -2, +4, ...); what it shows is looked at in hindsight, which helps it.
"""

from __future__ import annotations

import argparse
import statistics
import time
from dataclasses import dataclass

from hidden_rigs import WORLDS, HiddenRigs

from beamfall.planning.collision import plan_collision
from beamfall.planning.seek.answer import Answer, Shot
from beamfall.planning.seek.search import NEAR_S, Search
from beamfall.setup.rig import Rig

MOST = 25
NEVER = 10_000


@dataclass
class Result:
    """Shots until found and until stopped, whether the last picture was right, the linear sweep's shots."""

    found: int
    stopped: int
    right: bool
    sweep: int


def seek_one(hidden: HiddenRigs, number: int, world: str, heights: bool) -> Result:
    """Seek one rig, then sweep it."""
    rig = Rig.from_dict(hidden.ask("hide", number=number, world=world, heights=heights))
    search = Search(rig, seed=number)
    while not search.found and search.shots < MOST:
        proposal = search.propose()
        said = hidden.ask("fire", spacing_s=proposal.spacing_s, delay_s=proposal.delay_s)
        shot = said["shot"]
        if shot is None:
            continue
        search.take(
            Shot(
                proposal.spacing_s, shot["flash_s"], tuple(shot["edges_s"]), tuple(shot["dwells_s"])
            ),
            Answer(said["word"], said["jet_m"], said["drop_m"]),
        )
    plan = plan_collision(rig)
    fired = search.shots
    for step in range(MOST):
        offset = 0.002 * ((step + 1) // 2) * (1 if step % 2 else -1)
        hidden.ask("fire", spacing_s=plan.spacing_s, delay_s=plan.flash_delay_s + offset)
    wanted = plan.stage_s
    stages = hidden.ask("reveal", stage_s=wanted)["stages"]
    hits = [s is not None and abs(s - wanted) <= NEAR_S for s in stages]
    return Result(
        found=next((n for n, hit in enumerate(hits[:fired], 1) if hit), NEVER),
        stopped=fired,
        right=hits[fired - 1],
        sweep=next((n for n, hit in enumerate(hits[fired:], 1) if hit), NEVER),
    )


def describe(values: list[int]) -> str:
    """Median and 90th percentile, with how many never came."""
    values = sorted(values)
    middle, late = statistics.median(values), values[min(len(values) - 1, int(0.9 * len(values)))]
    never = sum(value == NEVER for value in values)
    words = [f"{v:g}" if v < NEVER else "never" for v in (middle, late)]
    return f"median {words[0]:>5s}   90th percentile {words[1]:>5s}   never {never}"


def main() -> None:
    """Run it."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--rigs", type=int, default=200)
    parser.add_argument("--world", choices=WORLDS)
    parser.add_argument("--heights", action="store_true", help="the person measures heights too")
    options = parser.parse_args()
    for world in [options.world] if options.world else WORLDS:
        start = time.perf_counter()
        with HiddenRigs() as hidden:
            results = [seek_one(hidden, n, world, options.heights) for n in range(options.rigs)]
        said = "words and heights" if options.heights else "words only"
        right = sum(result.right for result in results) / len(results)
        print(f"world '{world}', {len(results)} hidden rigs, {said}")
        print(f"  seek, found at    {describe([result.found for result in results])}")
        print(
            f"  seek, stopped at  {describe([result.stopped for result in results])}   right {right:.0%}"
        )
        print(f"  linear sweep      {describe([result.sweep for result in results])}")
        print(f"  ({time.perf_counter() - start:.0f} s)")


if __name__ == "__main__":
    main()
