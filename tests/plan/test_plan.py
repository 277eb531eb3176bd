"""What the planner says of a rig, compared with outside figures and with the simulated rig."""

from __future__ import annotations

import json
import random
from dataclasses import replace

import numpy as np
import pytest

from beamfall.errors import PhysicsRangeError, RigFileError
from beamfall.planning.anchors import judge_anchors
from beamfall.planning.collision import draw_rigs, plan_collision
from beamfall.planning.draws import make_draws
from beamfall.planning.make import make_plan
from beamfall.planning.openings import MEETING, find_need
from beamfall.planning.result import CautionKind
from beamfall.planning.retime import with_flash_delay
from beamfall.planning.setting import compute_drop, make_setting
from beamfall.planning.unknowns import NAMES, list_scatters, make_jet_prior
from beamfall.setup.limits import BoardLimits
from beamfall.setup.rig import Rig, example_rig
from beamfall.setup.rig_shot import Firing
from beamfall.sim.build import draw_model
from beamfall.sim.needs import find_needs
from beamfall.sim.predicted import fire, make_middle_rig, predict_picture

from .conftest import make_rig

TIMES = (
    "nozzle_to_beam", "beam_to_surface", "jet_onset", "spacing", "flash_delay",
    "flash_after_first_edge",
)  # fmt: skip


# -- against the outside ---------------------------------------------------------------------------
def test_common_practice_lies_inside_the_interval() -> None:
    # Common practice, no source: nozzle 0.61 m, beam 0.48 m, the flash of a two-drop collision
    # near 280 ms after the first drop breaks the beam.
    plan = plan_collision(make_rig(valve={"height_m": 0.61}, beam={"height_m": 0.48}))
    interval = plan.intervals["flash_after_first_edge"]
    assert interval.p5 < 0.270 and interval.p95 > 0.290  # well inside, and not at an end
    assert interval.holds(0.280)


def test_falls_of_the_planner_are_those_published() -> None:
    # Closed form with Gunn & Kinzer's terminal speed, 4 mm over 0.5 m from rest: 322.88 ms;
    # 0.1 m 143.19 ms. Air 1.20458 kg/m³ is that of 20 °C at sea level, g 9.80665 of 45.5°.
    rig = make_rig(
        valve={"height_m": 0.506},
        beam={"height_m": 0.506 - 0.004 - 0.1 - 0.002, "width_m": 0.0},
        site={"altitude_m": 0.0, "latitude_deg": 45.5},
    )
    setting = make_setting(rig)
    z = np.zeros((1, len(NAMES)))
    z[0, NAMES.index("start_speed_ratio")] = -50.0  # from rest
    # the volume of a 4 mm ball: ln(ratio)/spread
    ratio = (0.004 / compute_drop(rig.valves[0], setting)) ** 3
    z[0, NAMES.index("volume_ratio")] = np.log(ratio) / rig.uncertainty.volume
    rigs = make_draws(rig, setting, z, make_jet_prior(rig, setting))
    assert rigs.first.diameter_m[0] == pytest.approx(0.004)
    assert rigs.first.to_surface_s[0] * 1e3 == pytest.approx(322.88, abs=0.3)
    assert rigs.first.to_edge_s[0] * 1e3 == pytest.approx(143.19, abs=0.3)


def test_a_liquid_too_thick_for_a_jet_is_refused_before_a_drop_falls() -> None:
    rig = make_rig(valve={"head_m": 0.5, "bore_m": 0.004, "opening_s": 0.05})
    rig = replace(rig, liquid=replace(rig.liquid, name="glycerol"))
    with pytest.raises(PhysicsRangeError) as caught:
        plan_collision(rig)
    assert (caught.value.key, caught.value.quantity) == ("liquid", "jet height")


# -- against the simulated rig ---------------------------------------------------------------------
def test_arrays_and_root_finding_say_the_same_of_one_rig() -> None:
    """The planner's arrays and the simulation's scalars were written apart; one truth, two ways."""
    rig = make_rig(beam={"edge": "clear", "width_m": 0.002})
    setting = make_setting(rig)
    prior = make_jet_prior(rig, setting)
    for seed in range(25):
        draws = random.Random(f"{seed}/truth")
        z = np.array([[draws.gauss(0.0, 1.0) for _ in NAMES]])
        rigs = make_draws(rig, setting, z, prior)
        needs = find_needs(draw_model(rig, seed), 0.002, MEETING, "clear")
        assert needs is not None
        assert needs.nozzle_to_beam_s == pytest.approx(rigs.first.to_edge_s[0], abs=1e-5)
        assert needs.jet_onset_s == pytest.approx(rigs.onset_s[0], abs=1e-5)
        assert needs.spacing_s == pytest.approx(find_need(rigs).spacing_s[0], abs=2e-5)


def test_contacts_of_the_arrays_are_those_of_the_simulation() -> None:
    rig = example_rig()
    setting = make_setting(rig)
    rigs = make_draws(rig, setting, np.zeros((1, len(NAMES))), make_jet_prior(rig, setting))
    plan = plan_collision(rig)
    splash = fire(make_middle_rig(rig), plan.sequence)
    assert plan.spacing_s is not None and splash.contact is not None
    when, height = rigs.find_contact((0.0, plan.spacing_s))
    first = splash.drops[0]
    seen = splash.contact.when_s - first.left_s + float(rigs.first.latency_s[0])
    assert seen == pytest.approx(float(when[0]), abs=3e-5)
    assert splash.contact.height_m == pytest.approx(float(height[0]), abs=3e-5)


def test_a_plan_fired_at_the_middle_rig_shows_the_stage_that_is_wanted() -> None:
    rig = example_rig()
    for stage in (0.001, 0.004):
        plan = plan_collision(rig, stage_s=stage)
        picture = fire(make_middle_rig(rig), plan.sequence).pictures[0]
        # the middle of many rigs is not quite the middle rig
        assert picture.stage_s == pytest.approx(stage, abs=0.002)


def test_what_a_rig_has_taught_changes_the_predicted_picture() -> None:
    rig = example_rig()
    sequence = plan_collision(rig, stage_s=0.001).sequence
    from_file = predict_picture(rig, sequence, {}, 60)
    slow_jet = predict_picture(rig, sequence, {"onset_factor": 1.0}, 60)
    assert from_file.stage_s is not None and slow_jet.stage_s is not None
    assert abs(from_file.stage_s - slow_jet.stage_s) > 1e-4, (
        "the jet comes later, and so do they meet"
    )
    assert from_file.jpeg != slow_jet.jpeg


@pytest.mark.parametrize("anchor", ["release", "beam1"])
def test_every_anchor_leads_to_the_same_light(anchor) -> None:
    rig = make_rig(aim={"anchor": anchor, "anchor_count": 1})
    plan = plan_collision(rig)
    assert plan.anchor.beam == anchor
    light = fire(make_middle_rig(rig), plan.sequence).lights[0][1]
    own = plan_collision(example_rig())
    other = fire(make_middle_rig(example_rig()), own.sequence).lights[0][1]
    assert light == pytest.approx(other, abs=0.002)


def test_a_crown_is_caught_while_it_stands_and_a_jet_at_its_top() -> None:
    for kind in ("crown", "jet"):
        rig = make_rig(aim={"kind": kind, "drops": 1})
        plan = make_plan(rig)
        assert plan.kind == kind and plan.spacing_s is None
        splash = fire(make_middle_rig(rig), plan.sequence)
        light = splash.lights[0][1]
        if kind == "crown":
            assert 0.002 < light - splash.drops[0].impact_s < 0.012
        else:
            jet = splash.jet
            assert jet is not None
            assert jet.tip_m(light) > 0.97 * jet.height_m


# -- anchors ---------------------------------------------------------------------------------------
def scatter_by_anchor(**scatters: float) -> dict[int, float]:
    rig = example_rig()
    known = list_scatters(rig)
    only = {name: replace(item, middle=scatters.get(name, 0.0)) for name, item in known.items()}
    setting = make_setting(rig)
    rigs = draw_rigs(rig, setting, 500, None)
    times = (0.0, 0.105)
    choices = judge_anchors(rig, rigs, times, rigs.find_contact(times)[0], only)
    return {choice.anchor.count: choice.scatter_s for choice in choices}


def test_anchored_on_drop_2s_own_edge_its_latency_cancels() -> None:
    found = scatter_by_anchor(latency_scatter_s=1e-3)
    # The release knows neither latency: drop 2's, 1 ms, is in the picture. Drop 1's edge brings its
    # own in as well: √2 ms, less what the jet, late with drop 1, gives back.
    assert found[2] < 0.0003
    assert found[0] == pytest.approx(1e-3, rel=0.15)
    assert found[1] == pytest.approx(2**0.5 * 1e-3, rel=0.15)


def test_a_spacing_with_which_few_rigs_meet_has_scatters_too() -> None:
    plan = plan_collision(make_rig(aim={"spacing_s": 0.35}))
    assert plan.chance is not None and plan.chance < 0.03
    assert all(choice.scatter_s < 0.002 for choice in plan.anchors)


def test_the_jets_own_scatter_no_anchor_cures() -> None:
    found = scatter_by_anchor(height_scatter=0.04)
    assert found[0] == pytest.approx(found[1], rel=1e-6) == pytest.approx(found[2], rel=1e-6)
    assert found[2] > 0.0001


def test_the_best_anchor_is_chosen_and_a_wish_is_kept() -> None:
    plan = plan_collision(example_rig())
    assert [choice.chosen for choice in plan.anchors] == [True, False, False]
    assert plan.anchors[0].scatter_s == min(choice.scatter_s for choice in plan.anchors)
    wished = plan_collision(make_rig(aim={"anchor": "beam1", "anchor_count": 1}))
    assert (wished.anchor.beam, wished.anchor.count) == ("beam1", 1)
    with pytest.raises(RigFileError, match=r"anchor_count.*7"):
        plan_collision(make_rig(aim={"anchor": "beam1", "anchor_count": 7}))


# -- what it says ----------------------------------------------------------------------------------
def test_the_plan_as_json() -> None:
    plan = plan_collision(example_rig())
    content = json.loads(json.dumps(plan.to_json()))
    assert content["anchor"] == {"beam": "beam1", "edge": "dark", "count": 2}
    for name in TIMES:
        assert content[name]["p5"] < content[name]["p50"] < content[name]["p95"]
    assert 150 < content["flash_delay"]["p50"] < 220  # ms
    assert isinstance(content["warnings"], list)
    # in each rig: after the first edge = spacing + after drop 2's edge
    total = content["spacing"]["p50"] + content["flash_delay"]["p50"]
    assert content["flash_after_first_edge"]["p50"] == pytest.approx(total, abs=2.0)


def test_the_plan_of_a_rig_is_the_same_every_time() -> None:
    assert plan_collision(example_rig()).to_json() == plan_collision(example_rig()).to_json()


def test_more_uncertainty_makes_wider_intervals() -> None:
    def width(name: str, **values: float) -> float:
        interval = plan_collision(make_rig(uncertainty=values)).intervals[name]
        return interval.p95 - interval.p5

    assert width("beam_to_surface", height_m=0.004) > 1.5 * width("beam_to_surface", height_m=0.001)


def test_a_beams_clear_edge_comes_later_and_leaves_less_to_wait() -> None:
    dark = plan_collision(example_rig()).intervals
    clear = plan_collision(make_rig(beam={"edge": "clear"})).intervals
    later = clear["nozzle_to_beam"].p50 - dark["nozzle_to_beam"].p50
    # some 4.05 mm + 0.8 mm of beam at 1.6 m/s
    assert later == pytest.approx(0.0031, abs=0.0003)
    assert dark["flash_delay"].p50 - clear["flash_delay"].p50 == pytest.approx(later, abs=2e-4)


def test_rows_for_the_camera_and_for_flashes_of_unlike_latency() -> None:
    rig = make_rig(camera={"focus_lead_s": 0.3, "shutter_lead_s": 0.12, "hold_s": 0.2})
    slow = replace(rig.flashes[0], output="flash2", latency_s=0.0015)
    rig = replace(rig, flashes=(*rig.flashes, slow))
    sequence = plan_collision(rig).sequence
    rows = {row.output: row for row in sequence.rows}
    opened = min(row.delay_s for row in sequence.rows if row.output == "valve1")
    assert opened - rows["focus"].delay_s == pytest.approx(0.3)
    assert opened - rows["shutter"].delay_s == pytest.approx(0.12)
    # the slow flash closes its contact as much earlier as its light is late
    gap = rows["flash1"].delay_s - rows["flash2"].delay_s
    assert gap == pytest.approx(0.0015 - rig.flashes[0].latency_s)
    # the shutter closes after the latest light that can come
    splash = fire(make_middle_rig(rig), sequence)
    closes = 5.0 + rows["shutter"].delay_s + rows["shutter"].width_s
    assert closes > splash.lights[0][2] + 0.2
    sequence.make_table_within(BoardLimits())


def make_flashes(*firings: Firing, recycle_s: float = 0.02) -> Rig:
    rig = make_rig(flash={"recycle_s": recycle_s})
    second = replace(rig.flashes[0], output="flash2", latency_s=0.001)
    return replace(rig, flashes=(*rig.flashes, second), firings=firings)


def test_each_firing_of_a_flash_has_its_own_time() -> None:
    own = Firing(flash="flash2", delay_s=0.1, anchor="beam1", anchor_count=1, width_s=0.003)
    rig = make_flashes(Firing(), Firing(after_s=0.03), own)
    plan = plan_collision(rig)
    first, again, other = (row for row in plan.sequence.rows if row.output.startswith("flash"))
    assert again.output == first.output == "flash1"
    assert again.delay_s - first.delay_s == pytest.approx(0.03)
    assert (other.anchor, other.count, other.delay_s, other.width_s) == ("beam1", 1, 0.1, 0.003)
    lights = fire(make_middle_rig(rig), plan.sequence).lights
    assert len(lights) == 3
    # the shutter stays open for the last light
    shutter = next(row for row in plan.sequence.rows if row.output == "shutter")
    assert 5.0 + shutter.delay_s + shutter.width_s > max(light[2] for light in lights)


def test_a_flash_of_its_own_time_stays_where_the_picture_is_timed_again() -> None:
    fixed = plan_collision(make_flashes(Firing(), Firing(flash="flash2", delay_s=0.1)))
    assert with_flash_delay(fixed, 0.19) is None
    moves = with_flash_delay(plan_collision(make_flashes(Firing(), Firing(after_s=0.03))), 0.19)
    assert moves is not None
    delays = [row.delay_s for row in moves.sequence.rows if row.output == "flash1"]
    assert delays == pytest.approx([0.19, 0.22])


def test_warm_up_drops_fall_without_flash_or_camera() -> None:
    plan = plan_collision(make_rig(aim={"warm_up": 4}))
    assert plan.warm_up is not None
    assert [row.output for row in plan.warm_up.rows] == ["valve1"] * 4
    plan.warm_up.make_table_within(BoardLimits())
    assert plan_collision(example_rig()).warm_up is None


def test_what_the_user_fixes_stays() -> None:
    plan = plan_collision(make_rig(aim={"spacing_s": 0.1, "flash_delay_s": 0.15}))
    flash = plan.sequence.flash_row()
    assert flash is not None
    assert (plan.spacing_s, flash.delay_s) == (0.1, 0.15)
    (caution,) = (one for one in plan.warnings if one.kind is CautionKind.FLASH_DELAY)
    assert caution.about == ("aim.flash_delay",) and caution.values["found_s"] == 0.15
    assert caution.values["low_s"] > 0.15 or caution.values["high_s"] < 0.15
