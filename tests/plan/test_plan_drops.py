"""Which drops a plan lets fall, and when: third drops, second nozzles, other openings. The simulated rig judges it."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from beamfall.errors import RigFileError
from beamfall.faults.setup import expect_drop
from beamfall.planning.collision import draw_rigs, plan_collision
from beamfall.planning.openings import MEETING, THIRD_S
from beamfall.planning.result import Caution, CautionKind, Role
from beamfall.planning.setting import make_setting
from beamfall.setup.limits import BoardLimits
from beamfall.setup.rig import Rig, example_rig
from beamfall.setup.rig_shot import DropInRig
from beamfall.setup.signals import Signal
from beamfall.sim.needs import Falling, find_needs
from beamfall.sim.predicted import fire, make_middle_rig

from .conftest import make_rig


def test_a_third_drop_meets_the_umbrella_at_the_light() -> None:
    # A valve that makes a drop in 8 ms: two of them fall 25 ms apart.
    quick = {"head_m": 0.2, "length_m": 0.005, "opening_s": 0.008}
    rig = make_rig(valve=quick, aim={"drops": 3})
    plan = plan_collision(rig)
    splash = fire(make_middle_rig(rig), plan.sequence)
    first, second = splash.columns[0].contacts
    assert second.when_s - first.when_s == pytest.approx(THIRD_S, abs=0.002)
    assert splash.pictures[0].stage_s == pytest.approx(plan.stage_s, abs=0.002)


def test_a_slow_valve_lets_its_third_drop_fall_as_soon_as_it_can() -> None:
    rig = make_rig(aim={"drops": 3})  # 26 ms for a drop: the next one cannot come 25 ms later
    plan = plan_collision(rig)
    assert plan.warnings == ()
    assert plan.drops[2].at_s - plan.drops[1].at_s > rig.valves[0].opening_s
    splash = fire(make_middle_rig(rig), plan.sequence)
    assert len(splash.columns[0].contacts) == 2
    assert splash.pictures[0].stage_s == pytest.approx(plan.stage_s, abs=0.002)


def test_no_drop_comes_free_before_its_valve_has_closed() -> None:
    """A rig file may guess a latency shorter than the opening; the simulated rig knows better."""
    rig = make_rig(valve={"latency_s": 0.01, "opening_s": 0.026})
    rigs = draw_rigs(rig, make_setting(rig), 2000, None)
    plan = plan_collision(rig)
    drop = fire(make_middle_rig(rig), plan.sequence).drops[0]
    (opened, *_) = [row.delay_s for row in plan.sequence.rows if row.output == "valve1"]
    assert drop.left_s - opened == pytest.approx(0.026, abs=1e-5)
    assert float(np.median(rigs.first.latency_s)) == pytest.approx(0.026, abs=5e-4)
    assert float(np.min(rigs.first.latency_s)) == pytest.approx(0.026)


def test_what_a_rig_needs_does_not_depend_on_a_latency_shorter_than_the_opening() -> None:
    """The truth that plans are judged by follows the simulated valve, which lets no drop go before it has closed."""
    drops = (DropInRig(valve="valve1"), DropInRig(valve="valve1"), DropInRig(valve="valve2"))
    falling = [
        Falling(Signal[one].number, 0.026, THIRD_S) for one in ("valve1", "valve1", "valve2")
    ]
    needs = []
    for latency_s in (0.01, 0.026):
        rig = make_two_nozzles(*drops)
        second = replace(rig.valves[1], latency_s=latency_s)
        model = make_middle_rig(replace(rig, valves=(rig.valves[0], second))).model
        needs.append(find_needs(model, 0.002, MEETING, drops=falling))
    assert needs[0] == needs[1] and needs[0] is not None


def test_a_drop_is_expected_at_the_beam_only_after_its_valve_has_closed() -> None:
    rig = make_rig()
    early, closed = (
        expect_drop(rig, replace(rig.valves[0], latency_s=one), rig.beams[0])
        for one in (0.01, rig.valves[0].opening_s)
    )
    assert early == closed and early is not None


def make_two_nozzles(*drops: DropInRig) -> Rig:
    """The example rig with a second nozzle, higher up and slower, over the same spot."""
    rig = example_rig()
    other = replace(rig.valves[0], output="valve2", height_m=0.66, latency_s=0.03)
    return replace(rig, valves=(*rig.valves, other), drops=drops).with_aim(drops=len(drops))


def test_a_second_nozzle_drops_onto_the_umbrella_of_the_first() -> None:
    first, second = DropInRig(valve="valve1"), DropInRig(valve="valve2")
    rig = make_two_nozzles(first, first, second)
    plan = plan_collision(rig)
    assert [drop.valve.output for drop in plan.drops] == ["valve1", "valve1", "valve2"]
    assert [drop.role for drop in plan.drops] == [Role.SPLASH, Role.COLLISION, Role.UMBRELLA]
    splash = fire(make_middle_rig(rig), plan.sequence)
    met, struck = splash.columns[0].contacts
    assert struck.when_s - met.when_s == pytest.approx(THIRD_S, abs=0.002)
    assert splash.pictures[0].stage_s == pytest.approx(plan.stage_s, abs=0.002)


def test_a_drop_keeps_the_opening_and_time_that_the_file_gives_it() -> None:
    larger = DropInRig(opening_s=0.03, at_s=0.1)
    rig = replace(example_rig(), drops=(DropInRig(), larger, DropInRig())).with_aim(drops=3)
    plan = plan_collision(rig)
    assert [row.width_s for row in plan.sequence.rows[:3]] == [0.026, 0.03, 0.026]
    assert plan.spacing_s == 0.1 and plan.drops[1].fixed
    assert plan.drops[2].needs is not None and plan.drops[2].needs.holds(plan.drops[2].at_s)
    splash = fire(make_middle_rig(rig), plan.sequence)
    assert splash.drops[1].diameter_m > 1.02 * splash.drops[0].diameter_m
    assert splash.pictures[0].stage_s == pytest.approx(plan.stage_s, abs=0.002)


def test_a_time_at_which_the_third_drop_would_miss_is_refused_with_one_that_works() -> None:
    rig = replace(example_rig(), drops=(DropInRig(), DropInRig(), DropInRig(at_s=0.5)))
    with pytest.raises(RigFileError) as caught:
        plan_collision(rig.with_aim(drops=3))
    (problem,) = caught.value.problems
    assert (problem.key, problem.found) == ("drop[3].at", 0.5)
    assert problem.low is not None and problem.high is not None
    in_time_s = 0.5 * (problem.low + problem.high)
    cured = replace(rig, drops=(*rig.drops[:2], DropInRig(at_s=in_time_s)))
    plan = plan_collision(cured.with_aim(drops=3))
    assert plan.chance is not None and plan.chance > 0.5


def test_a_long_opening_pours_a_stream_that_is_planned_with_a_warning() -> None:
    rig = make_rig(valve={"opening_s": 0.06})
    plan = plan_collision(rig)
    assert (CautionKind.STREAM, ("valve1",)) in [(one.kind, one.about) for one in plan.warnings]
    assert plan_collision(example_rig()).warnings == ()
    splash = fire(make_middle_rig(rig), plan.sequence)
    assert splash.pictures[0].stage_s == pytest.approx(plan.stage_s, abs=0.003)


@pytest.mark.parametrize("opening_s", [0.010, 0.040])
def test_an_opening_that_does_not_fit_the_nozzle_is_told_one_that_does(opening_s: float) -> None:
    def list_unfit(seconds: float) -> list[Caution]:
        rig = make_rig(valve={"opening_s": seconds})
        return [one for one in plan_collision(rig).warnings if one.kind is CautionKind.NOZZLE]

    (caution,) = list_unfit(opening_s)
    shortest, longest = caution.values["shortest_s"], caution.values["longest_s"]
    assert not list_unfit(1.01 * shortest) and not list_unfit(0.99 * longest)
    assert list_unfit(0.98 * shortest) and list_unfit(1.02 * longest)


def test_valves_in_two_places_collide_at_the_same_moment() -> None:
    rig = example_rig()
    other = replace(rig.valves[0], output="valve2", height_m=0.72, latency_s=0.03, place_m=0.04)
    rig = replace(rig, valves=(*rig.valves, other))
    plan = plan_collision(rig)
    plan.sequence.make_table_within(BoardLimits())
    # the slower place opens first, and the shutter is open by then
    opened = {row.output: row.delay_s for row in reversed(plan.sequence.rows)}
    assert rig.camera is not None
    assert opened["valve2"] < opened["valve1"]
    assert opened["valve2"] - opened["shutter"] == pytest.approx(rig.camera.shutter_lead_s)
    splash = fire(make_middle_rig(rig), plan.sequence)
    here, there = (column.contact for column in splash.columns)
    assert here is not None and there is not None
    assert here.when_s == pytest.approx(there.when_s, abs=0.003)
    assert splash.pictures[0].stage_s == pytest.approx(plan.stage_s, abs=0.002)


def test_two_valves_in_one_place_take_turns() -> None:
    rig = example_rig()
    other = replace(rig.valves[0], output="valve2", height_m=0.62, latency_s=0.03)
    rig = replace(rig, valves=(*rig.valves, other))
    plan = plan_collision(rig)
    assert [row.output for row in plan.sequence.rows[:2]] == ["valve1", "valve2"]
    splash = fire(make_middle_rig(rig), plan.sequence)
    assert splash.pictures[0].stage_s == pytest.approx(plan.stage_s, abs=0.002)
