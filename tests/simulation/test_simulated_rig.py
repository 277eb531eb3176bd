"""The simulated rig follows the physics that it claims, and its scatter depends on the seed alone."""

from __future__ import annotations

import math
import random
from dataclasses import replace

import pytest
from simulated_drops import AIR, BEAM1, LIGHT1, VALVE1, G, fire, listen, open_valve, rig_of, shoot

from beamfall.errors import UserError
from beamfall.physics.fall import Conditions, fall
from beamfall.physics.jet import tip_heights
from beamfall.setup.rig import example_rig
from beamfall.setup.rig_sections import Beam
from beamfall.sim.build import build_rig, draw_model
from beamfall.sim.collision import Jet, see_picture
from beamfall.sim.drops import find_height, make_drop
from beamfall.sim.model import BeamModel
from beamfall.sim.needs import find_needs
from beamfall.sim.rig import SimulatedRig

IN_AIR = Conditions(air=AIR, gravity=G)


# -- falling and darkening ------------------------------------------------------------------------
@pytest.mark.parametrize(
    ("diameter_m", "time_ms", "within_ms"),
    # Closed form with terminal speeds of Gunn & Kinzer 1949 (second-hand), over 0.5 m from rest:
    # 4 mm 322.88 ms; integrated sphere drag (fluids 1.3.1) for 2 mm 328.70 ms.
    [(0.004, 322.88, 0.3), (0.002, 328.70, 0.3)],
)
def test_a_drop_falls_as_published(diameter_m, time_ms, within_ms) -> None:
    model = rig_of(diameter_m)
    drop = make_drop(model, 1, 0.0, model.valves[0].opening_s, random.Random(0), 0.0)
    assert drop is not None
    assert drop.diameter_m == pytest.approx(diameter_m, rel=1e-9)
    assert (drop.impact_s - drop.left_s) * 1e3 == pytest.approx(time_ms, abs=within_ms)


@pytest.mark.parametrize(("width_m", "dark_ms"), [(0.0, 2.556), (0.003, 4.473)])
def test_a_drop_darkens_the_beam_for_its_size_over_its_speed(width_m, dark_ms) -> None:
    # (d + w)/v, 4 mm at 1.565 m/s: 2.556 ms without width, 4.473 ms with 3 mm (reference values).
    height = 0.5 - 0.1274  # where its speed is that
    assert fall(0.5 - height, 0.004, IN_AIR).speed_m_s == pytest.approx(1.565, abs=0.002)
    rig = SimulatedRig(rig_of(beams=(BeamModel(height + 0.002, width_m),)))
    open_valve(rig, 0.5)
    (dark, _, on), (clear, _, off) = listen(rig, 2.0)
    assert (on, off) == (1, 0)
    # the drop gains speed inside the beam: half a per cent
    assert (clear - dark) * 1e3 == pytest.approx(dark_ms, rel=0.006)


def test_beside_the_axis_the_shadow_is_shorter_and_then_none() -> None:
    dark = {}
    for offset in (0.0, 0.0012, 0.0021):
        model = rig_of(beams=(BeamModel(0.4, 0.0),))
        valve = replace(model.valves[0], offset_m=offset)
        rig = SimulatedRig(replace(model, valves=(valve,)))
        open_valve(rig, 0.5)
        edges = listen(rig, 2.0)
        dark[offset] = edges[1][0] - edges[0][0] if edges else None
    # √(d² − 4y²) replaces d: 0.8 of it at 1.2 mm, nothing beyond 2 mm
    assert dark[0.0012] / dark[0.0] == pytest.approx(0.8, abs=0.002)
    assert dark[0.0021] is None


def test_a_beam_sees_only_the_drops_of_its_place() -> None:
    model = rig_of(beams=(BeamModel(0.4, 0.001, place_m=0.05),))
    rig = SimulatedRig(model)
    open_valve(rig, 0.5)
    assert listen(rig, 2.0) == []
    rig = SimulatedRig(replace(model, valves=(replace(model.valves[0], place_m=0.05),)))
    open_valve(rig, 0.5)
    assert [edge[1] for edge in listen(rig, 2.0)] == [BEAM1, BEAM1]


def test_an_opening_too_short_for_a_drop_makes_none() -> None:
    rig = SimulatedRig(rig_of(beams=(BeamModel(0.4, 0.001),)))
    rig.drive(VALVE1, 1, 1000)
    rig.drive(VALVE1, 0, 1000 + 12_500)  # 0.1 ms: 0.25 µL, a ball of 0.8 mm
    assert listen(rig, 2.0) == []
    assert rig.take_splash().drops == []


def test_the_height_of_a_drop_is_its_fall_read_backwards() -> None:
    model = rig_of()
    drop = make_drop(model, 1, 0.0, model.valves[0].opening_s, random.Random(0), 0.0)
    assert drop is not None
    for distance in (0.05, 0.2, 0.45):
        when = drop.left_s + fall(distance, 0.004, IN_AIR).time_s
        lowest = drop.start_height_m - distance - 0.002
        assert find_height(model, drop, when) == pytest.approx(lowest, abs=1e-5)
    assert find_height(model, drop, drop.left_s - 0.001) is None
    assert find_height(model, drop, drop.impact_s + 0.001) is None


# -- jet and contact -------------------------------------------------------------------------------
def test_the_first_law_of_the_jet_is_the_physics_own() -> None:
    jet = Jet(starts_s=10.0, rise_s=0.05, height_m=0.03, shape=None, gravity=G)
    for since in (-0.01, 0.0, 0.003, 0.02, 0.05, 0.07, 0.12, 0.2):
        assert jet.tip_m(10.0 + since) == pytest.approx(
            tip_heights(since + 0.05, 0.05, 0.03, 0.05, gravity=G), abs=1e-12
        )


def test_the_second_law_reaches_the_same_peak_by_another_way() -> None:
    first = Jet(0.0, 0.05, 0.03, None, G)
    second = Jet(0.0, 0.05, 0.03, 3.0, G)
    assert second.tip_m(0.05) == first.tip_m(0.05) == pytest.approx(0.03)
    assert second.tip_m(0.1) == 0.0 == second.tip_m(0.0)
    assert abs(second.tip_m(0.015) - first.tip_m(0.015)) > 0.001


def test_at_the_contact_drop_2_touches_the_tip() -> None:
    rig = SimulatedRig(rig_of())
    splash = shoot(rig, 0.105, 0.0)
    contact, jet, second = splash.contact, splash.jet, splash.drops[1]
    assert contact is not None and jet is not None
    assert jet.tip_m(contact.when_s) == pytest.approx(contact.height_m, abs=2e-6)
    # and its lowest point is there: its centre has fallen the rest of the way
    fallen = second.start_height_m - contact.height_m - 0.002
    took = fall(fallen, 0.004, IN_AIR).time_s
    assert contact.when_s - second.left_s == pytest.approx(took, abs=2e-6)


@pytest.mark.parametrize(
    ("stage_ms", "shows"),
    [(-60, "nothing"), (-6, "before"), (-0.2, "contact"), (0.2, "contact"), (4, "after")],
)
def test_the_picture_says_what_the_light_fell_on(stage_ms, shows) -> None:
    picture = shoot(SimulatedRig(rig_of()), 0.105, stage_ms * 1e-3).pictures[0]
    assert picture.shows == shows
    # ticks of 8 ns, and the flash's latency is known
    assert picture.stage_s == pytest.approx(stage_ms * 1e-3, abs=2e-8)


def test_drop_2_too_soon_or_too_late_meets_no_jet() -> None:
    for spacing in (0.02, 0.4):
        rig = SimulatedRig(rig_of())
        open_valve(rig, 1.0)
        open_valve(rig, 1.0 + spacing)
        assert rig.take_splash().contact is None


def test_a_drop_that_struck_without_a_jet_has_missed() -> None:
    model = rig_of()
    rig = SimulatedRig(model)
    open_valve(rig, 1.0)
    open_valve(rig, 1.02)
    column = rig._splash.columns[0]
    assert see_picture(model, column, column.recent[1].impact_s + 0.001).shows == "missed"


def test_a_third_drop_meets_the_umbrella() -> None:
    rig = SimulatedRig(rig_of())
    for at in (1.0, 1.105, 1.130):
        open_valve(rig, at)
    column = rig._splash.columns[0]
    first, second = column.contacts
    assert second.height_m == first.height_m
    assert 0.015 < second.when_s - first.when_s < 0.03
    assert column.contact is second


def test_a_dish_of_2_mm_throws_no_jet() -> None:
    # Hobbs & Osheroff 1967, Science 158:1184: jets fail below about 3 mm.
    for depth, jet in ((0.002, False), (0.004, True)):
        rig = SimulatedRig(rig_of(dish_depth_m=depth))
        open_valve(rig, 1.0)
        assert (rig.take_splash().jet is not None) is jet


def test_a_surface_that_has_calmed_begins_again() -> None:
    rig = SimulatedRig(rig_of())
    open_valve(rig, 1.0)
    open_valve(rig, 2.0)
    column = rig._splash.columns[0]
    assert len(column.drops) == 2 and len(column.recent) == 1
    assert column.jet is not None and column.jet.starts_s > 2.3


def test_a_flash_gives_light_after_its_latency_and_not_before_it_has_recycled() -> None:
    rig = SimulatedRig(rig_of())
    fire(rig, 1.0)
    fire(rig, 1.5)  # recycles for 1 s
    fire(rig, 2.5)
    lights = [edge for edge in listen(rig, 4.0) if edge[1] == LIGHT1]
    assert [round((when - base) * 1e6) for (when, _, _), base in zip(lights, (1, 1, 2.5, 2.5), strict=True)] == [
        50, 100, 50, 100,
    ]  # fmt: skip


# -- chance ----------------------------------------------------------------------------------------
def test_a_seed_is_a_rig() -> None:
    assert draw_model(example_rig(), 7) == draw_model(example_rig(), 7)
    others = {draw_model(example_rig(), seed).jet.onset_factor for seed in range(20)}
    assert len(others) == 20


def test_what_a_shot_does_does_not_depend_on_how_earlier_ones_were_read() -> None:
    def third(take: bool):
        rig = build_rig(None, 4)
        for number in range(3):
            open_valve(rig, 10.0 * number + 1.0)
            open_valve(rig, 10.0 * number + 1.1)
            listen(rig, 10.0 * number + 5.0)
            splash = rig.take_splash() if take or number == 2 else None
        assert splash is not None
        return splash.drops, splash.jet, splash.contact

    assert third(True) == third(False)


def test_the_truth_is_drawn_around_the_file() -> None:
    rig = example_rig()
    models = [draw_model(rig, seed) for seed in range(300)]
    heights = [model.valves[0].nozzle_height_m - rig.valves[0].height_m for model in models]
    assert abs(sum(heights) / 300) < 4 * 0.002 / math.sqrt(300)
    spread = math.sqrt(sum(h * h for h in heights) / 300)
    assert spread == pytest.approx(rig.uncertainty.height_m, rel=0.15)


def test_a_second_beam_is_as_far_from_the_first_as_calibration_believes() -> None:
    one = example_rig()
    second = Beam(input="beam2", height_m=0.20, blanking_s=0.02)
    two = replace(one, beams=(*one.beams, second))
    gaps, same = [], 0
    for seed in range(400):
        alone, beams = draw_model(one, seed), draw_model(two, seed).beams
        assert beams[0] == alone.beams[0]  # a second beam changes nothing else of a rig
        same += beams[0].width_m / one.beams[0].width_m == beams[1].width_m / second.width_m
        written = one.beams[0].height_m - second.height_m
        gaps.append(beams[0].height_m - beams[1].height_m - written)
    assert same == 0  # what share of its width counts is each beam's own
    # What `calibrate` takes by itself. Standard errors of mean and spread: sigma/sqrt(n), 1/sqrt(2n).
    assert abs(sum(gaps) / 400) < 4 * 3e-4 / math.sqrt(400)
    assert math.sqrt(sum(gap**2 for gap in gaps) / 400) == pytest.approx(
        3e-4, rel=4 / math.sqrt(800)
    )


def test_an_unknown_fault_lists_those_there_are() -> None:
    with pytest.raises(UserError, match="'gremlins'.*valve-stuck"):
        build_rig(None, 0, "gremlins")


# -- the truth that plans are judged by ------------------------------------------------------------
def test_needs_are_what_brings_the_picture_about() -> None:
    model = rig_of(beams=(BeamModel(0.4, 0.001),))
    needs = find_needs(model, 0.003, 0.75)
    assert needs is not None and needs.flash_delay_s is not None
    rig = SimulatedRig(model)
    open_valve(rig, 1.0)
    seen = open_valve(rig, 1.0 + needs.spacing_s)
    seen += listen(rig, 1.0 + needs.spacing_s + 0.2)
    dark = [when for when, signal, level in seen if signal == BEAM1 and level]
    fire(rig, dark[1] + needs.flash_delay_s)
    splash = rig.take_splash()
    assert splash.pictures[0].stage_s == pytest.approx(0.003, abs=2e-6)
    jet = splash.jet
    assert jet is not None and splash.contact is not None
    assert splash.contact.when_s - jet.starts_s == pytest.approx(0.75 * jet.rise_s, abs=2e-6)
