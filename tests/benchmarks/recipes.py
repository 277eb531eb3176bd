"""A recipe found on one hidden rig and used on another, beside the plain milliseconds.

    python tests/benchmarks/recipes.py [--pairs 200] [--first 0] [--world same|other|computed|pushed]
        [--way alone|calibrated|sought]

A search finds a picture 1 to 8 ms after contact on one hidden rig (see hidden_rigs.py); the picture that it
names becomes a recipe. The photographer says just after and long after too. On the other rig the first shot is
the recipe carried over; a search that begins there goes on (`beamfall seek --recipe`). 'found': the first shot
whose own picture is within 1 ms of the recipe's stage. Each other rig is tried three times: with nothing known of
it but its rig file, after `beamfall calibrate` (30 drops past the beam, no picture), and after one search for its
usual picture (2 ms after contact). The plain milliseconds are fired on it too. '+-' is the standard error that follows
from the number of pairs.
"""

from __future__ import annotations

import argparse
import math
import statistics
import time
from dataclasses import dataclass
from typing import Any

import numpy as np
from drawn_rigs import WORLDS
from hidden_rigs import HiddenRigs
from seek_shots import read_answer

from beamfall.planning.belief import Belief
from beamfall.planning.calibration.effect import keep_for_plan
from beamfall.planning.calibration.estimate import calibrate
from beamfall.planning.calibration.measure import Sample
from beamfall.planning.seek.answer import BLACK, Shot
from beamfall.planning.seek.choose import Proposal
from beamfall.planning.seek.search import NEAR_S, Search
from beamfall.planning.seek.taken import Told
from beamfall.recipes.events import carry_over, find_start, read_events
from beamfall.recipes.recipe import Label, Recipe
from beamfall.recipes.spacing import CLOSE_S
from beamfall.setup.rig import Rig

PERSON = {"ages": True}
MOST, NEVER = 15, 10_000
DROPS = 30
ALONE, CALIBRATED, SOUGHT = "rig file alone", "calibrated by its beam", "sought once before"
WAYS = {"alone": ALONE, "calibrated": CALIBRATED, "sought": SOUGHT}


@dataclass
class Result:
    """Results of one pair: how far the first picture was off, shots until found; how far the plain milliseconds were
    off."""

    first_s: float | None
    found: int
    plain_s: float | None
    expected: float  # the chance of a first picture within 3 ms, as the recipe's reader is told
    lower: float  # by what share of the jet's height drop 2 meets it lower than in the recipe


def fire(
    hidden: HiddenRigs, search: Search, told: list[Told], spacing_s: float, delay_s: float
) -> bool:
    """Fire a shot on the hidden rig and let the search have its answer; False if a drop did not come.

    `told`: what the search has been told, to which this is added. A second look at a picture shows the same again.
    """
    said: Any = hidden.ask("fire", spacing_s=spacing_s, delay_s=delay_s)
    shot = said["shot"]
    if shot is None:
        search.pass_over("a drop did not reach the beam")
        return False
    seen = Shot((0.0, spacing_s), shot["flash_s"], tuple(shot["edges_s"]), tuple(shot["dwells_s"]))
    answer = read_answer(said)
    search.take(seen, answer)
    if answer.word != BLACK:
        told.append(Told(seen, answer))
    while (number := search.find_doubtful()) is not None:
        search.look_again(number, told[number].answer)
    return True


def find_recipe(hidden: HiddenRigs, number: int, world: str) -> Recipe | None:
    """Seek on a rig and keep its last shot, as `beamfall recipe save` would; None where nothing is found."""
    rig = Rig.from_dict(hidden.ask("hide", number=number, world=world, person=PERSON))
    search = Search(rig, wanted_s=0.001 * (1 + number // 2 % 8), seed=number)
    fired: list[Proposal] = []
    told: list[Told] = []
    while not search.found and search.shots < MOST:
        proposal = search.propose()
        before = len(told)
        fire(hidden, search, told, proposal.spacing_s, proposal.delay_s)
        fired += [proposal] * (len(told) - before)
    if not search.found:
        return None
    learned = search.keep(board="hidden", port="hidden", simulated=True)
    shot = told[search.best].shot
    events, looks = read_events(rig, shot, 2, learned=learned, said_s=search.wanted_s)
    return Recipe(Label(name="hidden"), rig, search.build(fired[search.best]), events, looks)


def use_recipe(hidden: HiddenRigs, recipe: Recipe, number: int, world: str, way: str) -> Result:
    """Carry the recipe to another rig, learn about that rig in one of the ways, and seek on from there."""
    rig = Rig.from_dict(hidden.ask("hide", number=number, world=world, person=PERSON))
    known, before = None, 0
    if way == CALIBRATED:
        known, before = watch_drops(hidden, rig)
    elif way == SOUGHT:
        first = Search(rig, seed=number + 1)
        said: list[Told] = []
        while not first.found and first.shots < MOST:
            proposal = first.propose()
            fire(hidden, first, said, proposal.spacing_s, proposal.delay_s)
            before += 1
        known = first.keep(board="hidden", port="hidden", simulated=True)
    carried = carry_over(recipe, rig, learned=known)
    plan = carried.plan
    assert recipe.events is not None and plan.spacing_s is not None
    aimed, start = find_start(recipe, rig, learned=known, near_s=NEAR_S)
    search = Search(aimed, start=start, learned=known, seed=number)
    told: list[Told] = []
    fire(hidden, search, told, plan.spacing_s, plan.flash_delay_s)
    while not search.found and search.shots < MOST:
        proposal = search.propose()
        fire(hidden, search, told, proposal.spacing_s, proposal.delay_s)
    fired = search.shots
    hidden.ask("fire", spacing_s=recipe.spacing_s, delay_s=recipe.flash_delay_s)
    stages = hidden.ask("reveal", stage_s=plan.stage_s)["stages"][before:]
    off = [None if stage is None else stage - plan.stage_s for stage in stages]
    found = (n for n, one in enumerate(off[:fired], 1) if one is not None and abs(one) <= NEAR_S)
    return Result(off[0], next(found, NEVER), off[fired], carried.chance or 0.0, carried.lower)


def watch_drops(hidden: HiddenRigs, rig: Rig) -> tuple[Belief, int]:
    """What the beam says of single drops; their pictures are not looked at. Also how many shots that took."""
    rows = []
    for _ in range(DROPS):
        shot = hidden.ask("fire", spacing_s=0.4, delay_s=0.1)["shot"]
        if shot is not None:
            rows.append([shot["edges_s"][0], shot["dwells_s"][0]])
    valve = rig.valves[0]
    sample = Sample(
        rig, valve.output, valve.opening_s, ("beam1",), np.array(rows), tuple(range(len(rows))), 0
    )
    found = calibrate([sample])
    return keep_for_plan(found, board="hidden", port="hidden", simulated=True), DROPS


def share(values: list[float | None], near_s: float) -> str:
    """How many lie within a time, in per cent, and the standard error of that."""
    found = statistics.mean(v is not None and abs(v) <= near_s for v in values)
    error = math.sqrt(found * (1.0 - found) / len(values))
    return f"{found:.1%} (+- {100 * error:.1f})"


def main() -> None:
    """Run it."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--pairs", type=int, default=200)
    parser.add_argument(
        "--first", type=int, default=0, help="figures are of pairs from 0; tune on others"
    )
    parser.add_argument("--world", choices=WORLDS)
    parser.add_argument("--way", choices=WAYS, help="of knowing the other rig; all when left out")
    options = parser.parse_args()
    ways = [WAYS[options.way]] if options.way else list(WAYS.values())
    for world in [options.world] if options.world else WORLDS:
        start, lost = time.perf_counter(), 0
        results: dict[str, list[Result]] = {way: [] for way in ways}
        with HiddenRigs() as hidden:
            for pair in range(options.first, options.first + options.pairs):
                recipe = find_recipe(hidden, 2 * pair, world)
                if recipe is None:
                    lost += 1
                    continue
                for way, known in results.items():
                    known.append(use_recipe(hidden, recipe, 2 * pair + 1, world, way))
        print(
            f"world '{world}', {options.pairs} pairs of hidden rigs from {options.first}, {lost} without a recipe"
        )
        for name, found in results.items():
            describe(name, found)
        plain = [one.plain_s for one in results[ways[0]]]
        print(f"  plain milliseconds: first picture {say_close(plain)}")
        print(f"  ({time.perf_counter() - start:.0f} s)", flush=True)


def describe(name: str, results: list[Result]) -> None:
    """One way of knowing the other rig."""
    found = sorted(one.found for one in results)
    print(
        f"  {name}: first picture {say_close([one.first_s for one in results])}; found in a median of "
        f"{statistics.median(found):g} shots, 90th percentile {found[int(0.9 * len(found))]:g}, "
        f"never {found.count(NEVER)}; within 3 ms expected in "
        f"{statistics.mean(one.expected for one in results):.1%}; drop 2 meets the jet lower than in the recipe, "
        f"by a median of {statistics.median(one.lower for one in results):.0%} of its height"
    )


def say_close(values: list[float | None]) -> str:
    """How many lie within 3 ms and within 1 ms."""
    return f"within 3 ms in {share(values, CLOSE_S)}, within 1 ms in {share(values, NEAR_S)}"


if __name__ == "__main__":
    main()
