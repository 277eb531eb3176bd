"""A recipe fired again on another day, with and without the correction for it.

    python tests/benchmarks/recipe_days.py [--rigs 100] [--world same|other]

A search finds the collision on a hidden rig; the picture that it names becomes a recipe. On the other day liquid
and air are up to 3 K warmer or colder, the head is up to 3 cm more or less (both are measured and entered), and
the nozzle hangs up to 2 mm higher or lower, which nobody knows. Two drops fall; then the recipe is fired corrected,
and as it was. A hit is a picture within 1 ms of the recipe's stage. Each splash differs from the last, so that no
setting hits always: 'same day' is the recipe fired once more on the day it was found.
"""

from __future__ import annotations

import argparse
import random
import time
from dataclasses import replace
from typing import Any

from drawn_rigs import SHIFT, SPREAD, WORLDS, draw_rig_file
from hidden_rigs import Board

from beamfall.planning.seek.answer import Answer, Shot
from beamfall.planning.seek.choose import Proposal
from beamfall.planning.seek.search import NEAR_S, Search
from beamfall.recipes.day import find_correction, set_day
from beamfall.recipes.events import read_events
from beamfall.recipes.recipe import DropSeen, Label, Recipe
from beamfall.setup.rig import Rig
from beamfall.sim.build import draw_model
from beamfall.sim.photographer import SimulatedPhotographer
from beamfall.sim.rig import SimulatedRig

MOST = 20


def make_board(rig: Rig, number: int, world: str, chance: int) -> Board:
    """The rig with its hidden truth: the same number is the same rig, whatever its file says today."""
    if world == "same":
        model = draw_model(rig, number)
    else:
        law = random.Random(f"law {number}").uniform(1.6, 3.5)
        model = draw_model(rig, number, spread=SPREAD, shift=SHIFT, shape=law)
    return Board(SimulatedRig(model, chance))


def see_drops(shot: dict[str, Any], spacing_s: float) -> DropSeen:
    """What the beam saw of both drops."""
    arrivals = [edge - at for edge, at in zip(shot["edges_s"], (0.0, spacing_s), strict=True)]
    dwells = shot["dwells_s"]
    return DropSeen(
        valve="valve1", drops=2, arrival_s=sum(arrivals) / 2, dwell_s=sum(dwells) / len(dwells)
    )


def measure_one(number: int, world: str) -> tuple[float | None, ...] | None:
    """How far the stage is off: corrected, as then, and on the same day again; None where nothing was found."""
    rig = draw_rig_file(number)
    opening = rig.valves[0].opening_s
    board, person = make_board(rig, number, world, number), SimulatedPhotographer(number, ages=True)
    search = Search(rig, seed=number)
    answered: list[tuple[Proposal, dict[str, Any], Shot]] = []
    while not search.found and search.shots < MOST:
        proposal = search.propose()
        shot = board.play(proposal.spacing_s, opening, proposal.delay_s)
        if shot is None:
            continue
        seen = person.look(shot["picture"])
        own = Shot(
            proposal.times_s, shot["flash_s"], tuple(shot["edges_s"]), tuple(shot["dwells_s"])
        )
        search.take(own, Answer(*seen))
        answered.append((proposal, shot, own))
    if not search.found:
        return None
    proposal, shot, own = answered[search.best]
    learned = search.keep(board="hidden", port="hidden", simulated=True)
    events, looks = read_events(rig, own, 2, learned=learned, said_s=search.wanted_s)
    recipe = Recipe(
        Label(name="hidden"), rig, search.build(proposal), events, looks,
        drops=(see_drops(shot, proposal.spacing_s),),
    )  # fmt: skip
    luck = random.Random(f"day {number}")
    warmer, more = luck.uniform(-3.0, 3.0), luck.uniform(-0.03, 0.03)
    now = set_day(
        recipe,
        temperature_k=rig.liquid.temperature_k + warmer,
        head_m=max(0.01, rig.valves[0].head_m + more),
    )
    moved = replace(now.valves[0], height_m=now.valves[0].height_m + luck.uniform(-0.002, 0.002))
    today = make_board(replace(now, valves=(moved,)), number, world, number + 100_000)
    drops = today.play(0.3, opening, 0.5)
    assert events.stage_s is not None and drops is not None
    correction = find_correction(recipe, now, see_drops(drops, 0.3), learned=learned)
    assert correction is not None
    off: list[float | None] = []
    for rig_then, spacing, delay in (
        (today, correction.spacing_s, correction.delay_s),
        (today, 0.0, 0.0),
        (board, 0.0, 0.0),
    ):
        fired = rig_then.play(proposal.spacing_s + spacing, opening, proposal.delay_s + delay)
        stage = None if fired is None else fired["picture"].stage_s
        off.append(None if stage is None else stage - events.stage_s)
    return tuple(off)


def main() -> None:
    """Run it."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--rigs", type=int, default=100)
    parser.add_argument("--world", choices=WORLDS[:2])
    options = parser.parse_args()
    for world in [options.world] if options.world else WORLDS[:2]:
        start = time.perf_counter()
        results = [one for n in range(options.rigs) if (one := measure_one(n, world)) is not None]
        print(f"world '{world}', {len(results)} of {options.rigs} hidden rigs with a recipe")
        for name, values in zip(
            ("corrected", "as then", "same day"), zip(*results, strict=True), strict=True
        ):
            hits = sum(one is not None and abs(one) <= NEAR_S for one in values)
            seen = sorted(abs(one) for one in values if one is not None)
            print(
                f"  {name:10s} within 1 ms of the stage in {hits / len(values):.0%}, median "
                f"{seen[len(seen) // 2] * 1e3:.2f} ms off, no contact in {len(values) - len(seen)}"
            )
        print(f"  ({time.perf_counter() - start:.0f} s)", flush=True)


if __name__ == "__main__":
    main()
