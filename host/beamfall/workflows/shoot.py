"""Shots of one sequence in a row."""

from __future__ import annotations

from beamfall.setup.rig import Rig
from beamfall.setup.sequence import Sequence
from beamfall.workflows.steps import Begin, Fired, Progress, Workflow, begin, fire, let_drops_fall


def shoot(
    rig: Rig, sequence: Sequence, count: int = 1, *, warm_up: bool = True, settled: bool = True
) -> Workflow[list[Fired]]:
    """Fire a sequence `count` times; return the shots.

    `warm_up`: let the drops of the rig's aim.warm_up fall first. `settled`: wait until the surface has settled
    since a shot of an earlier series.
    """
    yield from begin(
        Begin(
            "shoot", rig, {"count": count},
            flashes=sequence, repeated=count > 1,
        )
    )  # fmt: skip
    if warm_up:
        yield from let_drops_fall(rig, rig.aim.warm_up)
    shots: list[Fired] = []
    for number in range(count):
        yield Progress(number, count)
        shots.append((yield from fire(sequence, settled=settled)))
    yield Progress(count, count)
    return shots
