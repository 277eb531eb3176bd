"""What a search assumes: how much shots of one rig differ, and what the simulated photographer says."""

from __future__ import annotations

import numpy as np
import pytest
from searching import Board

from beamfall.planning.seek.answer import Shot
from beamfall.planning.seek.search import Search
from beamfall.planning.seek.timing import Timing
from beamfall.setup.rig import example_rig
from beamfall.sim.build import draw_model
from beamfall.sim.collision import Picture
from beamfall.sim.photographer import SimulatedPhotographer
from beamfall.sim.rig import SimulatedRig


@pytest.mark.full
def test_a_search_expects_shots_to_scatter_as_they_do_on_the_simulated_rig() -> None:
    rig = example_rig()
    true, expected = [], []
    for seed in range(1, 9):
        search, board = Search(rig, seed=seed), Board(SimulatedRig(draw_model(rig, seed), seed))
        proposal, weighted = search.propose(), search.weighted
        openings = [
            (valve.output, at, valve.opening_s)
            for valve, at in zip(rig.list_drops(), proposal.times_s, strict=True)
        ]
        off = []
        for _ in range(12):
            fired = board.play_drops(openings, proposal.delay_s)
            assert fired is not None and fired["picture"].stage_s is not None
            shot = Shot(proposal.times_s, fired["flash_s"], tuple(fired["edges_s"]))
            outlook = weighted.look(
                Timing.read(weighted.rigs, shot), shot.flash_s + weighted.rigs.flash_latency_s
            )
            off.append(fired["picture"].stage_s - float(np.nanmedian(outlook.stage_s)))
        true.append(np.std(off, ddof=1))
        expected.append(np.nanmedian(outlook.spread_s))
    assert 0.7 < np.sqrt(np.mean(np.square(expected)) / np.mean(np.square(true))) < 1.6


def test_who_knows_the_wanted_look_says_found_where_an_umbrella_has_it() -> None:
    def say(stage_s: float, shows: str = "after") -> list[str]:
        people = [SimulatedPhotographer(n, ages=True, wants_s=(0.002, 0.00075)) for n in range(200)]
        return [one.look(Picture(shows, stage_s, 0.02, None)).word for one in people]

    assert say(0.002).count("found") > 140
    assert 20 < say(0.003).count("found") < 100  # by eye: she is not always right
    assert say(0.006).count("found") < 5
    assert set(say(0.0002, "contact")) == {"contact"}


def test_a_gap_is_judged_against_the_drop_above_it() -> None:
    def say(gap: float) -> list[str]:
        people = [SimulatedPhotographer(n, ages=True) for n in range(100)]
        return [one.look(Picture("before", -0.002, 0.02, 0.03, gap=gap)).age for one in people]

    assert say(0.5).count("just before") > 90
    assert say(2.0).count("") > 90
    assert say(8.0).count("long before") > 90
    assert 20 < say(1.1).count("just before") < 60  # by eye: people differ


def test_the_gap_closes_by_a_drop_in_a_millisecond() -> None:
    """A drop of 4 mm at 4 m/s."""
    rig, gaps = example_rig(), []
    for later_s in (-0.003, -0.002):
        board = Board(SimulatedRig(draw_model(rig, 4), 4))
        fired = board.play(0.095, rig.valves[0].opening_s, 0.15)
        assert fired is not None
        to_contact_s = 0.15 - fired["picture"].stage_s
        fired = board.play(0.095, rig.valves[0].opening_s, to_contact_s + later_s)
        assert fired is not None and fired["picture"].shows == "before"
        gaps.append((fired["picture"].gap, fired["picture"].stage_s))
    (wide, early), (narrow, late) = gaps
    assert (wide - narrow) / (1e3 * (late - early)) == pytest.approx(1.0, abs=0.4)
