"""A recipe found on one hidden rig and used on another, beside the plain milliseconds.

    python tests/benchmarks/recipes.py [--pairs 200] [--world same|other]

A search finds a picture 1 to 8 ms after contact on one hidden rig (see hidden_rigs.py); the picture that it
names becomes a recipe. The photographer says just after and long after too. On the other rig the first shot is
the recipe carried over; a search that begins there goes on (`beamfall seek --recipe`). 'found': the first shot
whose own picture is within 1 ms of the recipe's stage. Each other rig is tried twice: with nothing known of it
but its rig file, and after one search for its usual picture (2 ms after contact). The plain milliseconds are
fired on it too.
"""

from __future__ import annotations

import argparse
import statistics
import time
from dataclasses import dataclass
from typing import Any

from hidden_rigs import WORLDS, HiddenRigs
from seek_shots import read_answer

from beamfall.planning.seek.answer import Shot
from beamfall.planning.seek.search import NEAR_S, Search
from beamfall.recipes.events import carry_over, find_start, read_events
from beamfall.recipes.recipe import Label, Recipe
from beamfall.setup.rig import Rig

CLOSE_S = 0.003
PERSON = {"ages": True}
MOST, NEVER = 15, 10_000


@dataclass
class Result:
    """Of one pair: how far the first picture was off, shots until found; how far the plain milliseconds were off."""

    first_s: float | None
    found: int
    plain_s: float | None


def fire(hidden: HiddenRigs, search: Search, spacing_s: float, delay_s: float) -> None:
    """Fire a shot on the hidden rig and let the search have its answer."""
    said: Any = hidden.ask("fire", spacing_s=spacing_s, delay_s=delay_s)
    shot = said["shot"]
    if shot is not None:
        seen = Shot(
            (0.0, spacing_s), shot["flash_s"], tuple(shot["edges_s"]), tuple(shot["dwells_s"])
        )
        search.take(seen, read_answer(said))


def find_recipe(hidden: HiddenRigs, number: int, world: str) -> Recipe | None:
    """Seek on a rig and keep its last shot, as `beamfall recipe save` would; None where nothing is found."""
    rig = Rig.from_dict(hidden.ask("hide", number=number, world=world, person=PERSON))
    search = Search(rig, wanted_s=0.001 * (1 + number // 2 % 8), seed=number)
    fired = []
    while not search.found and search.shots < MOST:
        proposal = search.propose()
        before = search.shots
        fire(hidden, search, proposal.spacing_s, proposal.delay_s)
        fired += [proposal] * (search.shots - before)
    if not search.found:
        return None
    learned = search.keep(board="hidden", port="hidden", simulated=True)
    shot = search._answers[search.best][0]
    events, looks = read_events(rig, shot, 2, learned=learned, said_s=search.wanted_s)
    return Recipe(Label(name="hidden"), rig, search.build(fired[search.best]), events, looks)


def use_recipe(
    hidden: HiddenRigs, recipe: Recipe, number: int, world: str, learned: bool
) -> Result:
    """Carry the recipe to another rig and seek on from there."""
    rig = Rig.from_dict(hidden.ask("hide", number=number, world=world, person=PERSON))
    known, before = None, 0
    if learned:
        first = Search(rig, seed=number + 1)
        while not first.found and first.shots < MOST:
            proposal = first.propose()
            fire(hidden, first, proposal.spacing_s, proposal.delay_s)
            before += 1
        known = first.keep(board="hidden", port="hidden", simulated=True)
    carried = carry_over(recipe, rig, learned=known)
    plan = carried.plan
    assert recipe.events is not None and plan.spacing_s is not None
    aimed, start = find_start(recipe, rig, learned=known, near_s=NEAR_S)
    search = Search(aimed, start=start, learned=known, seed=number)
    fire(hidden, search, plan.spacing_s, plan.flash_delay_s)
    while not search.found and search.shots < MOST:
        proposal = search.propose()
        fire(hidden, search, proposal.spacing_s, proposal.delay_s)
    fired = search.shots
    hidden.ask("fire", spacing_s=recipe.spacing_s, delay_s=recipe.flash_delay_s)
    stages = hidden.ask("reveal", stage_s=plan.stage_s)["stages"][before:]
    off = [None if stage is None else stage - plan.stage_s for stage in stages]
    found = (n for n, one in enumerate(off[:fired], 1) if one is not None and abs(one) <= NEAR_S)
    return Result(off[0], next(found, NEVER), off[fired])


def share(values: list[float | None], near_s: float) -> str:
    """How many lie within a time, in per cent."""
    return f"{sum(v is not None and abs(v) <= near_s for v in values) / len(values):.0%}"


def main() -> None:
    """Run it."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--pairs", type=int, default=200)
    parser.add_argument("--world", choices=WORLDS)
    options = parser.parse_args()
    for world in [options.world] if options.world else WORLDS:
        start, lost = time.perf_counter(), 0
        results: dict[str, list[Result]] = {"rig file alone": [], "sought once before": []}
        with HiddenRigs() as hidden:
            for pair in range(options.pairs):
                recipe = find_recipe(hidden, 2 * pair, world)
                if recipe is None:
                    lost += 1
                    continue
                for learned, known in enumerate(results.values()):
                    known.append(use_recipe(hidden, recipe, 2 * pair + 1, world, bool(learned)))
        print(f"world '{world}', {options.pairs} pairs of hidden rigs, {lost} without a recipe")
        for name, found in results.items():
            describe(name, found)
        plain = [one.plain_s for one in results["rig file alone"]]
        print(f"  plain milliseconds: first picture {say_close(plain)}")
        print(f"  ({time.perf_counter() - start:.0f} s)", flush=True)


def describe(name: str, results: list[Result]) -> None:
    """One way of knowing the other rig."""
    found = sorted(one.found for one in results)
    print(
        f"  {name}: first picture {say_close([one.first_s for one in results])}; found in a median of "
        f"{statistics.median(found):g} shots, 90th percentile {found[int(0.9 * len(found))]:g}, "
        f"never {found.count(NEVER)}"
    )


def say_close(values: list[float | None]) -> str:
    """How many lie within 3 ms and within 1 ms."""
    return f"within 3 ms in {share(values, CLOSE_S)}, within 1 ms in {share(values, NEAR_S)}"


if __name__ == "__main__":
    main()
