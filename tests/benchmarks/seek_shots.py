"""How many shots a search takes on hidden rigs, beside two photographers and a plain linear sweep.

    python tests/benchmarks/seek_shots.py [--rigs 200] [--first 0] [--world same|other|pushed|computed]
        [--says words] [--drops 3] [--aim collision|crown|cavity|jet|droplet] [--seeds 3]

What the simulated photographer says: `plain` before, contact, after and the like; `words` just and long before,
just and long after as well; `width` also measures umbrellas, `heights` jet and drop 2, `ruler` whichever of them a
picture shows; `pictures`: the time since the contact is measured in each photograph (see hidden_rigs.measure_time);
`read`: the reader itself reads the ray-traced picture of each shot as `seek` does with photographs, and where it is
not sure the photographer's word serves. `--wrong 0.1` says another word one time in ten. Where the search asks for a
second look at a picture, half of the wrong words are slips, which it mends, and the other half misjudgements, which it
repeats (our assumption;
`--repeats 1` repeats all); a right word stays. Second looks cost no shot and are counted apart.
So are the two drops that fall before the first shot, without a flash, where the search wants them.
A search draws its rigs by chance, and 200 searches with other seeds may be right 4 % more or less often:
`--seeds 3` seeks each rig three times.

A shot counts as found when its own picture is within 1 ms of the wanted stage; of one drop, within
`one_drop.NEARS_S` of the wanted moment. 'found at': the first such shot of a search that goes on until its own rule
stops it. 'stopped at': where that rule ended it, and how often the picture that it named was the wanted one.
`--found`: the photographer also says `found`, where an umbrella looks as old as the wanted one to within `--closer` of
the tolerance; she judges that by eye, a quarter off (our assumption), so that she may end the search at another
picture. The search was tuned on rigs from 1000 on (`--first 1000`), its threshold on 600 to 799; judged were 0 to 199,
800 to 999 and 2000 to 2199, in this order.

Two photographers start at the planner's values. One steps the flash by 5 ms and halves the step where the
word turns; one reads the gap between drop 2 and jet, and the umbrella's width, with a ruler. The linear
sweep moves the flash by 2 ms, up and down in turn (+0, +2, -2, +4, ...); what it shows is looked at in
hindsight, which helps it.
"""

from __future__ import annotations

import argparse
import itertools
import statistics
import sys
import time
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from drawn_rigs import WORLDS
from hidden_rigs import HiddenRigs

from beamfall.physics.umbrella import umbrella_age
from beamfall.planning.light import STAGE_S
from beamfall.planning.make import make_plan
from beamfall.planning.result import Plan
from beamfall.planning.seek.answer import Answer, Shot
from beamfall.planning.seek.search import NEAR_S, Search
from beamfall.setup.rig import Rig
from beamfall.setup.rig_shot import KINDS

MOST = 20
NEVER = 10_000
PEOPLE: dict[str, dict[str, bool | str]] = {
    "plain": {},
    "words": {"ages": True},
    "width": {"ages": True, "widths": True},
    "heights": {"ages": True, "heights": True},
    "ruler": {"ages": True, "widths": True, "heights": True},
    "pictures": {"ages": True, "times": True},
    "read": {"ages": True, "times": "read"},
}


@dataclass
class Result:
    """Shots until found and until stopped, whether the picture it named was right, and the others' shots."""

    found: int
    stopped: int
    right: bool
    others: dict[str, int]
    looks: int  # second looks at earlier pictures
    drops_first: bool = False  # whether two drops fell before the first shot, without a flash


def seek_one(
    hidden: HiddenRigs,
    number: int,
    world: str,
    person: dict[str, Any],
    drops: int = 2,
    aim: str = "collision",
    seed: int = 0,
) -> Result:
    """Seek one rig, then let the others try; those know collisions alone."""
    hide = {"number": number, "world": world, "drops": drops, "aim": aim}
    rig = Rig.from_dict(hidden.ask("hide", **hide, person=person))
    search = Search(rig, seed=number + 1000 * seed)
    plan = make_plan(rig)
    wanted, near = plan.stage_s, search.near_s
    drops_first = search.wants_drops(search.propose())
    if drops_first and (dropped := hidden.ask("drop")) is not None:
        edge = dropped["edge_s"]
        search.see_drop(Shot((0.0,), edge, (edge,), (dropped["dwell_s"],)))
    fired, answered, told, looks = 0, list[int](), list[Any](), 0
    while not search.found and search.shots < MOST:
        proposal = search.propose()
        said = hidden.ask("fire", times_s=proposal.times_s, delay_s=proposal.delay_s)
        fired += 1
        shot = said["shot"]
        if shot is None:  # a drop never came: the same again, but not for ever
            search.pass_over("a drop did not reach the beam")
            continue
        answered.append(fired - 1)
        search.take(
            Shot(
                proposal.times_s, shot["flash_s"], tuple(shot["edges_s"]), tuple(shot["dwells_s"])
            ),
            read_answer(said),
        )
        told.append(said)
        while (doubtful := search.find_doubtful()) is not None:
            looks += 1
            told[doubtful] |= hidden.ask("again", shot=answered[doubtful], said=told[doubtful])
            search.look_again(doubtful, read_answer(told[doubtful]))
    hits = _hits(hidden.ask("stages"), wanted, near)
    found, stopped = _first(hits), len(hits)
    right = bool(answered) and hits[answered[search.best]]
    others = {}
    for name, make in OTHERS.items() if aim == "collision" and seed == 0 else ():
        hidden.ask("hide", **hide, person={"heights": True, "widths": True})
        move, delay = make(plan), plan.flash_delay_s
        for _ in range(MOST):
            times = [drop.at_s for drop in plan.drops]
            said = hidden.ask("fire", times_s=times, delay_s=max(0.0, delay))
            delay += move(said)
            hits = _hits(hidden.ask("stages"), wanted, near)
            if hits[-1]:
                break
        others[name] = _first(hits)
    return Result(found, stopped, right, others, looks, drops_first)


def read_answer(said: Any) -> Answer:
    """What a hidden rig's photographer has said of a picture."""
    return Answer(
        said["word"], said["jet_m"], said["drop_m"], said["age"], said["width_m"],
        since_s=said["since_s"], since_error_s=said["since_error_s"],
    )  # fmt: skip


def _hits(stages: list[float | None], wanted: float, near_s: float) -> list[bool]:
    return [stage is not None and abs(stage - wanted) <= near_s for stage in stages]


def _first(hits: list[bool]) -> int:
    return next((number for number, hit in enumerate(hits, 1) if hit), NEVER)


Move = Callable[[dict[str, Any]], float]
_LATE = ("after", "missed")


def halve(plan: Plan) -> Move:
    """Try later if drop 2 is not there yet, earlier if it was; half as far each time that turns."""
    step, last = 0.005, 0.0

    def move(said: dict[str, Any]) -> float:
        nonlocal step, last
        way = -1.0 if said["word"] in _LATE else 1.0
        if last and way != last:
            step *= 0.5
        last = way
        return way * (plan.stage_s if said["word"] == "contact" else step)

    return move


def read(plan: Plan) -> Move:
    """By a ruler on the picture: the gap over the speed at which it closes, the umbrella by its width."""
    speed = 1e3 * plan.quantities["impact_speed_m_s"].p50
    diameter = plan.quantities["drop_diameter_mm"].p50

    def move(said: dict[str, Any]) -> float:
        if said["word"] == "before" and said["jet_m"] is not None and said["drop_m"] is not None:
            return (said["drop_m"] - said["jet_m"]) / speed + plan.stage_s
        if said["word"] == "contact":
            return plan.stage_s
        if said["word"] == "after" and said["width_m"] is not None:
            age = umbrella_age(0.5 * said["width_m"], diameter, speed)
            return -0.01 if age is None else plan.stage_s - age[0]
        return -0.005 if said["word"] in _LATE else 0.005

    return move


def sweep(plan: Plan) -> Move:
    """+0, +2, -2, +4, ... ms."""
    number = 0

    def move(said: dict[str, Any]) -> float:
        nonlocal number
        number += 1
        return 0.002 * number * (1.0 if number % 2 else -1.0)

    return move


OTHERS: dict[str, Callable[[Plan], Move]] = {
    "5 ms and halve": halve,
    "gap and umbrella": read,
    "linear sweep": sweep,
}


def describe(values: list[int]) -> str:
    """Median, 90th percentile, mean of those that came, and how many never came."""
    values = sorted(values)
    middle, late = statistics.median(values), values[min(len(values) - 1, int(0.9 * len(values)))]
    came = [value for value in values if value < NEVER]
    words = [f"{v:g}" if v < NEVER else "never" for v in (middle, late)]
    mean = statistics.mean(came) if came else float("nan")
    return f"median {words[0]:>5s}   p90 {words[1]:>5s}   mean {mean:5.2f}   never {len(values) - len(came)}"


def describe_found(results: list[Result]) -> str:
    """When the wanted picture came, and how often the picture that a search named was the wanted one."""
    right = statistics.mean(result.right for result in results)
    return f"{describe([result.found for result in results])}   right {right:.1%}"


def main() -> None:
    """Run it."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--rigs", type=int, default=200)
    parser.add_argument("--first", type=int, default=0, help="number of the first rig")
    parser.add_argument("--world", choices=WORLDS)
    parser.add_argument("--says", choices=PEOPLE, default="words")
    parser.add_argument("--wrong", type=float, default=0.0, help="share of answers that are wrong")
    parser.add_argument("--repeats", type=float, default=0.5, help="share of them on a second look")
    parser.add_argument("--found", action="store_true", help="the person says found, by eye")
    parser.add_argument("--closer", type=float, default=0.75, help="share of the tolerance")
    parser.add_argument("--drops", type=int, default=2, choices=(2, 3, 4))
    parser.add_argument("--aim", default="collision", choices=KINDS)
    parser.add_argument("--seeds", type=int, default=1, help="searches a rig")
    options = parser.parse_args()
    # More drops fall on rigs of their own, which the last two worlds do not draw.
    worlds = WORLDS if options.drops == 2 else WORLDS[:2]
    person: dict[str, Any] = {
        **PEOPLE[options.says], "wrong_share": options.wrong, "repeats": options.repeats,
    }  # fmt: skip
    if options.found:
        if options.aim != "collision":
            parser.error("--found: people judge umbrellas so, of a collision")
        person["wants_s"] = (STAGE_S, options.closer * NEAR_S)
    for world in [options.world] if options.world else worlds:
        start = time.perf_counter()
        with HiddenRigs() as hidden:
            results = []
            numbers = range(options.first, options.first + options.rigs)
            for seed, n in itertools.product(range(options.seeds), numbers):
                results.append(seek_one(hidden, n, world, person, options.drops, options.aim, seed))
                if len(results) % 25 == 0:
                    print(f"  {len(results)} searches: {describe_found(results)}", file=sys.stderr)
        after = statistics.median(result.stopped - result.found for result in results)
        what = (
            f"{options.drops} drops" if options.aim == "collision" else f"one drop: {options.aim}"
        )
        print(
            f"world '{world}', {len(results)} searches, {what}, says {options.says}, "
            f"{options.wrong:.0%} wrong{', says found by eye' * options.found}"
        )
        print(f"  seek, found at    {describe_found(results)}")
        print(f"  seek, stopped at  {describe([result.stopped for result in results])}")
        looks = statistics.mean(result.looks for result in results)
        print(
            f"  stops after the first good one by (median) {max(after, 0):g}, {looks:.2f} second looks a search"
        )
        first = statistics.mean(result.drops_first for result in results)
        print(f"  two drops fell first, without a flash, in {first:.0%} of the searches")
        for name in results[0].others:
            shots = [result.others[name] for result in results if result.others]
            print(f"  {name:17s} {describe(shots)}")
        print(f"  ({time.perf_counter() - start:.0f} s)", flush=True)


if __name__ == "__main__":
    main()
