"""Nozzles side by side: over one place their drops meet, over two each place has its own picture."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from searching import seek

from beamfall.board import Board
from beamfall.planning.belief import Belief
from beamfall.planning.collision import plan_collision
from beamfall.planning.openings import split_places
from beamfall.planning.result import CautionKind
from beamfall.planning.seek.search import Search
from beamfall.planning.unknowns import NAMES
from beamfall.setup.rig import Rig, example_rig
from beamfall.setup.rig_shot import DropInRig
from beamfall.setup.signals import SignalKind
from beamfall.shots import ShotLog
from beamfall.sim.build import draw_model
from beamfall.sim.collision import see_picture
from beamfall.sim.predicted import fire, make_middle_rig
from beamfall.sim.rig import SimulatedRig
from beamfall.sim.scene import make_scene
from beamfall.workflows.run import PythonFrontEnd, run
from beamfall.workflows.seek import seek as seek_by_board


def put_beside(
    place_m: float, height_m: float = 0.72, drops: tuple[str, ...] = (), latency_s: float = 0.03
) -> Rig:
    rig = example_rig()
    second = replace(
        rig.valves[0], output="valve2", place_m=place_m, height_m=height_m, latency_s=latency_s
    )
    listed = tuple(DropInRig(valve=one) for one in drops)
    both = replace(rig, valves=(*rig.valves, second), drops=listed)
    return both.with_aim(drops=len(drops) or 2)


@pytest.mark.parametrize(
    "drops", [("valve1", "valve2"), ("valve2", "valve1"), ("valve1", "valve1", "valve2")]
)
def test_drops_of_two_nozzles_meet_in_one_jet_or_on_its_umbrella(drops: tuple[str, ...]) -> None:
    rig = put_beside(0.001, drops=drops)
    for seed in (1, 2):
        search = Search(rig, seed=seed)
        stages = seek(search, SimulatedRig(draw_model(rig, seed), seed), ages=True)
        stage_s = stages[search.best]
        assert search.found and stage_s is not None and abs(stage_s - 0.002) <= 0.0015


def test_drops_that_fall_too_far_beside_each_other_miss_and_the_plan_says_so() -> None:
    for place_m, meets in ((0.001, True), (0.0045, False)):
        rig = put_beside(place_m)
        plan = plan_collision(rig)
        assert any(one.kind is CautionKind.BESIDE for one in plan.warnings) is not meets
        shown = fire(make_middle_rig(rig), plan.sequence).pictures[0].shows
        assert shown == ("after" if meets else "missed")


def test_a_drop_is_drawn_where_its_own_nozzle_lets_it_fall() -> None:
    rig = put_beside(0.003)
    middle = make_middle_rig(rig)
    splash = fire(middle, plan_collision(rig.with_aim(stage_s=0.0)).sequence)
    flash, lit, dark = splash.lights[0]
    splash.lights[0] = (flash, lit - 0.01, dark - 0.01)
    (column,) = make_scene(splash, middle.model)["columns"]
    assert column["x_mm"] == 0.0 and column["drops"][0][0] == 3.0


@pytest.mark.parametrize("height_m", [0.4, 0.72])  # its drops fall sooner, or must leave first
def test_drops_at_another_place_fall_along_in_a_search(height_m: float, tmp_path: Path) -> None:
    rig = put_beside(0.03, height_m)
    search = Search(rig, seed=1)
    sequence = search.build(search.propose())
    opened = sorted(
        (row.delay_s, row.output) for row in sequence.rows if row.kind is SignalKind.VALVE
    )
    assert [output for _, output in opened].count("valve2") == 2
    assert opened[0][1] == ("valve1" if height_m < 0.5 else "valve2")
    with (
        ShotLog.open(tmp_path / "log.sqlite3") as log,
        Board.connect("sim?seed=5", rig=rig) as board,
    ):
        step = seek_by_board(rig, board, rig_file=tmp_path / "rig.toml", asks=False, most=12)
        done = run(step, board, log, PythonFrontEnd({}))
        logged = log.read_shot(done.best.fired.shot)
    assert done.found and done.truth is not None and abs(done.truth.error_s or 1.0) <= 0.001
    assert len(logged.make_rig().valves) == 2
    assert done.best.aim.times_s[0] == 0.0 and logged.record.truth is not None
    columns = logged.record.truth["scene"]["columns"]
    assert sorted(round(one["x_mm"] / 30.0) for one in columns) == [0, 1]


def test_the_picture_is_that_of_the_first_nozzles_place() -> None:
    """This holds whichever valve opens first."""
    rig = put_beside(0.03, 0.72)
    middle = make_middle_rig(rig)
    splash = fire(middle, plan_collision(rig).sequence)
    assert [one.place_m for one in splash.columns] == [0.0, 0.03]
    when_s = splash.lights[0][1]
    assert splash.pictures[0] == see_picture(middle.model, splash.columns[0], when_s)


# Of the first pair the nozzles differ in nothing but their outputs.
@pytest.mark.parametrize(("height_m", "latency_s"), [(0.6, 0.035), (0.72, 0.03)])
def test_a_place_that_was_found_stays_as_it_is_while_another_is_sought(
    height_m: float, latency_s: float
) -> None:
    one, other = ("valve1", "valve1"), ("valve2", "valve2")
    first, then = (
        put_beside(0.03, height_m, drops, latency_s) for drops in ((*one, *other), (*other, *one))
    )
    spread, spacings = 1e-4 * np.eye(len(NAMES)), {"valve1": 0.081, "valve2": 0.093}
    known = Belief("b", "p", True)
    for rig, sought in ((first, "valve1"), (then, "valve2")):
        search = Search(rig, learned=known, seed=1)
        mean = np.full(len(NAMES), 10.0 * spacings[sought])
        known = known.add_search(
            search.rig, mean, spread, answers=5, found=True, certainty=1.0,
            spacing_s=spacings[sought], fresh=False,
        )  # fmt: skip
    for rig, sought in ((first, "valve1"), (then, "valve2")):
        fitted = known.fit(split_places(rig)[0])
        assert fitted is not None and fitted[0] == pytest.approx(10.0 * spacings[sought])
        search = Search(rig, learned=known, seed=2)
        for sequence in (
            search.build(search.propose()),
            plan_collision(rig, learned=known).sequence,
        ):
            for valve, spacing_s in spacings.items():
                opened = [row.delay_s for row in sequence.rows if row.output == valve]
                assert opened[1] - opened[0] == pytest.approx(spacing_s)
