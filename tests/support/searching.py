"""A search on a simulated rig, without firmware: an ideal board fires it, the simulated photographer answers."""

from __future__ import annotations

import sys
from pathlib import Path

from beamfall.planning.seek.answer import Answer, Shot
from beamfall.planning.seek.search import Search
from beamfall.sim.photographer import SimulatedPhotographer
from beamfall.sim.rig import SimulatedRig

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "benchmarks"))
from drawn_rigs import draw_rig_file, draw_truth  # noqa: E402
from hidden_rigs import Board  # noqa: E402

__all__ = ["draw_rig_file", "draw_truth", "seek"]


def seek(
    search: Search, rig: SimulatedRig, *, heights: bool = False, ages: bool = False, most: int = 25
) -> list[float | None]:
    """Run a search on a simulated rig; the stage of each picture, in s."""
    board, person = Board(rig), SimulatedPhotographer(rig.seed, heights, ages)
    stages: list[float | None] = []
    while not search.found and search.shots < most:
        proposal = search.propose()
        valves = search.rig.list_drops()
        openings = [
            (valve.output, at, valve.opening_s)
            for valve, at in zip(valves, proposal.times_s, strict=True)
        ]
        shot = board.play_drops(openings, proposal.delay_s)
        assert shot is not None
        stages.append(shot["picture"].find_stage(search.rig.aim.kind))
        search.take(
            Shot(
                proposal.times_s, shot["flash_s"], tuple(shot["edges_s"]), tuple(shot["dwells_s"])
            ),
            Answer(*person.look(shot["picture"])),
        )
    return stages
