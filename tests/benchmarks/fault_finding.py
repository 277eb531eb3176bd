"""How well faults are found: `python tests/benchmarks/fault_finding.py [--seeds 50] [--wrong 0.1] [--pairs N]`.

Every fault of the simulated rig with each seed, and a simulated person answering. Prints the share of runs in which
the true cause is ranked first (a tie at the top counts half), the questions asked of the person, and what was confused
with what; then the same with a person who is wrong now and then; then pairs of faults.

A pair can both show if the rig with both behaves, in all tests together, differently from the rig with either one
alone, as seen by a truthful person and with the same seed; pairs that cannot are left out and counted.
"""

from __future__ import annotations

import argparse
import collections
import itertools
import math
import random
import statistics
import sys
import time
from dataclasses import dataclass, replace
from functools import cache
from pathlib import Path

from beamfall.board import Board
from beamfall.faults.checks import CHECKS
from beamfall.faults.fault_rig import FaultRig
from beamfall.faults.finder import Finding
from beamfall.faults.setup import Setup, make_setup
from beamfall.setup.rig import example_rig
from beamfall.sim.faults import FAULTS
from beamfall.sim.person import SimulatedPerson
from beamfall.sim.room import Room

sys.path.insert(0, str(Path(__file__).parents[1] / "support"))
from finding import find_faults  # noqa: E402


@cache
def plain_setup() -> Setup:
    return make_setup(example_rig())


def setup_on(board: Board) -> Setup:
    """The rig's setup with what its photographer has set."""
    rig = board.transport.rig
    plain = plain_setup()
    return replace(plain, sequence=rig.set_by_photographer(plain.sequence))


def diagnose(faults: str, seed: int, wrong: float) -> Finding:
    return find_faults(
        lambda: Board.connect(f"sim?fault={faults}" if faults else "sim", seed=seed),
        setup_on,
        lambda board, setup: SimulatedPerson(
            Room(board.transport.rig), wrong_share=wrong, seed=f"{seed}/{faults}"
        ),
        bare_setup=plain_setup,
    )


def shake_tables(spread: float) -> None:
    """Move the chances in place; a row that would add up to more than 1 is scaled down."""
    draws = random.Random(1)
    for sign in {sign.name: sign for check in CHECKS for sign in check.signs}.values():
        for row in (sign.sound, *sign.chances.values()):
            for outcome, chance in row.items():
                odds = chance / (1.0 - chance) * math.exp(draws.gauss(0.0, spread))
                row[outcome] = odds / (1.0 + odds)
            total = sum(row.values())
            if total > 0.999:
                row.update({outcome: 0.999 * chance / total for outcome, chance in row.items()})


def score(finding: Finding, true: str) -> float:
    """1 where the true cause stands alone at the top, a share of a tie, else 0."""
    top = finding.ranked[0][1]
    first = [name for name, chance in finding.ranked if chance >= top - 1e-9]
    return (1.0 if len(first) == 1 else 0.5) if true in first else 0.0


@dataclass
class Tally:
    runs: int = 0
    right: float = 0.0
    questions: list[int] = None
    by_cause: dict = None
    confused: collections.Counter = None


def run_singles(seeds: int, wrong: float) -> Tally:
    tally = Tally(questions=[], by_cause={}, confused=collections.Counter())
    for name in FAULTS:
        good, asked = 0.0, []
        for seed in range(seeds):
            finding = diagnose(name, seed, wrong)
            one = score(finding, name)
            good += one
            asked.append(finding.questions)
            if one < 1.0:
                tally.confused[name, finding.ranked[0][0]] += 1
        tally.by_cause[name] = (good / seeds, statistics.median(asked), max(asked))
        tally.right += good
        tally.runs += seeds
        tally.questions += asked
    return tally


def examine(faults: str, seed: int) -> dict[str, str]:
    """Every test once, in a fixed order, with a truthful person."""
    try:
        board = Board.connect(f"sim?fault={faults}", seed=seed)
    except Exception as error:  # noqa: BLE001 - whatever keeps a board from answering is what shows
        return {"connection": type(error).__name__}
    with board:
        setup = setup_on(board)
        bench = FaultRig(board, setup, SimulatedPerson(Room(board.transport.rig), seed=seed))
        seen: dict[str, str] = {}
        for check in CHECKS:
            bench.begin()
            if check.rests:
                bench.attempt(bench.rest_flash)
            seen.update(check.run(bench))
            bench.look_back()
            if bench.lost:
                seen["line"] = "lost"
            if bench.restarted:
                seen["restarts"] = "restarted"
        return seen


def list_showing_pairs(seed: int) -> tuple[list[tuple[str, str]], int]:
    alone = {name: examine(name, seed) for name in FAULTS}
    pairs, hidden = [], 0
    for one, other in itertools.combinations(FAULTS, 2):
        both = examine(f"{one},{other}", seed)
        if both in (alone[one], alone[other]):
            hidden += 1
        else:
            pairs.append((one, other))
    return pairs, hidden


def print_tally(title: str, tally: Tally) -> None:
    print(f"\n{title}: {tally.runs} runs")
    print(f"  true cause first   {100 * tally.right / tally.runs:.1f} %")
    spread = statistics.quantiles(tally.questions, n=10)
    print(
        f"  questions          median {statistics.median(tally.questions):g}, "
        f"mean {statistics.mean(tally.questions):.2f}, 9 of 10 at most {spread[-1]:g}, "
        f"most {max(tally.questions)}"
    )
    print("  cause                          first   median questions   most")
    for name, (share, median, most) in tally.by_cause.items():
        print(f"  {name:30s} {100 * share:5.0f} %   {median:16g}   {most:4d}")
    if tally.confused:
        print("  taken for (times):")
        for (true, taken), times in tally.confused.most_common():
            print(f"  {true:30s} {taken:30s} {times:4d}")


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--seeds", type=int, default=50)
    parser.add_argument("--wrong", type=float, default=0.1)
    parser.add_argument("--pairs", type=int, default=0, help="how many pairs, at random; 0: all")
    parser.add_argument("--only", choices=("true", "wrong", "pairs", "sound"), default=None)
    parser.add_argument(
        "--shake",
        type=float,
        default=0.0,
        help="move every chance of the finder's tables at random, by so much of its log odds (a "
        "standard deviation): how much the figures hang on the exact numbers",
    )
    options = parser.parse_args()
    if options.shake:
        shake_tables(options.shake)
    began = time.perf_counter()
    if options.only in (None, "true"):
        print_tally("A truthful person", run_singles(options.seeds, 0.0))
    if options.only in (None, "wrong"):
        title = f"A person wrong in {100 * options.wrong:g} % of the answers"
        print_tally(title, run_singles(options.seeds, options.wrong))
    if options.only in (None, "sound"):
        found = collections.Counter(
            diagnose("", seed, 0.0).ranked[0][0] for seed in range(options.seeds)
        )
        print(f"\nA sound rig, {options.seeds} seeds: {dict(found)}")
    if options.only in (None, "pairs"):
        run_pairs(options.pairs)
    print(f"\n{time.perf_counter() - began:.0f} s", file=sys.stderr)


def run_pairs(limit: int) -> None:
    pairs, hidden = list_showing_pairs(seed=0)
    if limit:
        pairs = random.Random(0).sample(pairs, min(limit, len(pairs)))
    both = one = 0
    asked, missed = [], []
    for first, second in pairs:
        finding = diagnose(f"{first},{second}", 0, 0.0)
        top = {name for name, _ in finding.ranked[:3]}
        asked.append(finding.questions)
        both += {first, second} <= top
        one += bool({first, second} & top)
        if not {first, second} <= top:
            missed.append((first, second, [name for name, _ in finding.ranked[:3]]))
    print(f"\nTwo causes at once: {len(pairs)} pairs that can both show ({hidden} cannot)")
    print(f"  both in the top three   {100 * both / len(pairs):.1f} %")
    print(f"  at least one of them    {100 * one / len(pairs):.1f} %")
    print(f"  questions               median {statistics.median(asked):g}, most {max(asked)}")
    for first, second, top in missed:
        print(f"  missed: {first} + {second}: {', '.join(top)}")


if __name__ == "__main__":
    main()
