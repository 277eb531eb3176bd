"""The simulated rig follows the physics that it claims, and only the seed decides its chance."""

from __future__ import annotations

import math
import random
from dataclasses import replace
from datetime import datetime
from pathlib import Path

import numpy as np
import pytest
from PIL import Image, ImageDraw

from beamfall.errors import UserError
from beamfall.photos.exif import read_photograph, read_tags
from beamfall.physics.air import Air
from beamfall.physics.fall import fall
from beamfall.physics.jet import tip_height
from beamfall.physics.liquids import WATER
from beamfall.physics.umbrella import umbrella_radius
from beamfall.setup.rig import example_rig
from beamfall.setup.rig_sections import Beam
from beamfall.setup.signals import Signal
from beamfall.sim.build import build_rig, draw_model
from beamfall.sim.collision import Jet, see_picture
from beamfall.sim.develop import render
from beamfall.sim.drops import find_height, make_drop
from beamfall.sim.liquid_shapes import find_sheet
from beamfall.sim.model import BeamModel, FlashModel, JetModel, RigModel, ValveModel
from beamfall.sim.needs import find_needs
from beamfall.sim.picture import SimulatedPicture, draw_pictures, frame_action
from beamfall.sim.raytrace import Frame
from beamfall.sim.rig import SimulatedRig
from beamfall.sim.scene import make_scene

SIGNALS = Signal
VALVE1, VALVE2, FLASH1 = (int(SIGNALS[name]) for name in ("valve1", "valve2", "flash1"))
BEAM1, LIGHT1 = int(SIGNALS["beam1"]), int(SIGNALS["light1"])
FLOW = 2.5e-6  # m³/s
# The conditions of shared reference values: air 1.20458 kg/m³, 1.82057e-5 Pa·s, g 9.80665.
AIR, G = Air(1.20458, 1.82057e-5), 9.80665


def rig_of(diameter_m: float = 0.004, *, beams: tuple[BeamModel, ...] = (), **changes) -> RigModel:
    """A rig without scatter, whose drop has that diameter and starts at rest one diameter below the nozzle."""
    valve = ValveModel(
        nozzle_height_m=0.5 + 1.5 * diameter_m,  # its centre then falls 0.5 m to the surface
        flow_m3_s=FLOW,
        opening_s=math.pi / 6 * diameter_m**3 / FLOW,
        lag_s=0.0,
        latency_s=0.02,
        latency_scatter_s=0.0,
        volume_scatter=0.0,
        start_speed_ratio=0.0,
    )
    jet = JetModel(1.2, 2.5, 0.65, onset_scatter_s=0.0, height_scatter=0.0)
    model = RigModel(
        (valve,), beams, (FlashModel(5e-5, 5e-5, 1.0),), jet, WATER, AIR, G, aim_scatter_m=0.0
    )
    return replace(model, **changes)


def open_valve(rig: SimulatedRig, at_s: float, valve: int = VALVE1) -> list[tuple[float, int, int]]:
    """Open a valve for one drop; return the input edges until it closes."""
    number = 0 if valve == VALVE1 else 1
    rig.drive(valve, 1, round(at_s * rig.clock_hz))
    seen = listen(rig, at_s + rig.model.valves[number].opening_s)
    rig.drive(valve, 0, round((at_s + rig.model.valves[number].opening_s) * rig.clock_hz))
    return seen


def listen(rig: SimulatedRig, until_s: float) -> list[tuple[float, int, int]]:
    found = []
    while (edge := rig.next_edge(round(until_s * rig.clock_hz))) is not None:
        found.append((edge[0] / rig.clock_hz, edge[1], edge[2]))
    return found


def fire(rig: SimulatedRig, at_s: float) -> None:
    rig.drive(FLASH1, 1, round(at_s * rig.clock_hz))


def shoot(rig: SimulatedRig, spacing_s: float, stage_s: float):
    """Two drops and a light `stage_s` after their contact; the splash."""
    start = 1.0
    open_valve(rig, start)
    open_valve(rig, start + spacing_s)
    splash = rig._splash
    contact = splash.contact
    assert contact is not None
    fire(rig, contact.when_s + stage_s - rig.model.flashes[0].latency_s)
    return rig.take_splash()


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
    assert fall(0.5 - height, 0.004, air=AIR, gravity=G).speed_m_s == pytest.approx(
        1.565, abs=0.002
    )
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
        when = drop.left_s + fall(distance, 0.004, air=AIR, gravity=G).time_s
        lowest = drop.start_height_m - distance - 0.002
        assert find_height(model, drop, when) == pytest.approx(lowest, abs=1e-5)
    assert find_height(model, drop, drop.left_s - 0.001) is None
    assert find_height(model, drop, drop.impact_s + 0.001) is None


# -- jet and contact -------------------------------------------------------------------------------
def test_the_first_law_of_the_jet_is_the_physics_own() -> None:
    jet = Jet(starts_s=10.0, rise_s=0.05, height_m=0.03, shape=None, gravity=G)
    for since in (-0.01, 0.0, 0.003, 0.02, 0.05, 0.07, 0.12, 0.2):
        assert jet.tip_m(10.0 + since) == pytest.approx(
            tip_height(since + 0.05, 0.05, 0.03, 0.05, gravity=G), abs=1e-12
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
    took = fall(fallen, 0.004, air=AIR, gravity=G).time_s
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


# -- the picture -----------------------------------------------------------------------------------
def read_pixels(path: Path):
    with Image.open(path) as image:
        return np.asarray(image.convert("RGB"), dtype=float) / 255.0


def find_dark_edges(line) -> tuple[int, int]:
    """The first and last place of a line of pixels that is clearly darker than the light behind."""
    dark = np.flatnonzero(line.sum(axis=1) < 0.6 * np.median(line.sum(axis=1)))
    return int(dark[0]), int(dark[-1])


def test_the_picture_shows_the_drop_where_it_is_and_as_wide_as_it_is() -> None:
    model = rig_of()
    splash = shoot(SimulatedRig(model), 0.105, -0.008)
    scene = make_scene(splash, model)
    x, y, radius, _ = scene["columns"][0]["drops"][-1]
    frame = Frame.of(scene, 500)
    pixels = render(scene, pixels=500) / 255.0
    column, row = frame.find_pixel(x, y)
    left, right = find_dark_edges(pixels[round(row)])
    assert (left + right) / 2 == pytest.approx(column, abs=1.5)
    assert right - left == pytest.approx(2.0 * radius * frame.per_mm, abs=2.5)
    above = pixels[: round(row + 1.5 * radius * frame.per_mm), round(column)]
    assert find_dark_edges(above)[1] == pytest.approx(row + radius * frame.per_mm, abs=2.5)


def test_the_umbrella_is_as_wide_as_the_physics_says_and_a_drop_shows_the_light_upside_down() -> (
    None
):
    model = rig_of()
    splash = shoot(SimulatedRig(model), 0.105, 0.004)
    scene = make_scene(splash, model)
    column = scene["columns"][0]
    height, age_ms, radius, diameter = column["umbrellas"][0]
    assert age_ms == pytest.approx(4.0, abs=0.01)
    assert radius == pytest.approx(
        1e3 * umbrella_radius(age_ms * 1e-3, diameter * 1e-3, 3.0), rel=0.15
    )
    frame = Frame.of(scene, 600)
    rim = find_sheet(column["umbrellas"][0], column)
    row = round(frame.find_pixel(0.0, height - rim.sag)[1])
    left, right = find_dark_edges(render(scene, pixels=600)[row] / 255.0)
    assert (right - left) / frame.per_mm == pytest.approx(2.0 * radius, abs=0.5)
    before = make_scene(shoot(SimulatedRig(model), 0.105, -0.008), model)
    before["look"] |= {"top": [1.0, 0.1, 0.1], "bottom": [0.1, 0.1, 1.0]}
    x, y, drop, _ = before["columns"][0]["drops"][-1]
    frame = Frame.of(before, 300)
    pixels = render(before, pixels=300) / 255.0
    red_share = [
        pixels[round(row), round(middle), 0] / pixels[round(row), round(middle)].sum()
        for middle, row in (frame.find_pixel(x, y + side * 0.5 * drop) for side in (-1.0, 1.0))
    ]
    assert (
        red_share[0] > red_share[1] + 0.1
    )  # the red of the top shines through the drop's lower half


def test_every_picture_and_sheet_says_that_it_is_simulated(tmp_path, monkeypatch) -> None:
    said: list[str] = []
    for name in ("text", "multiline_text"):
        true = getattr(ImageDraw.ImageDraw, name)

        def spy(self, place, text, *args, _true=true, **kwargs):
            said.append(str(text))
            return _true(self, place, text, *args, **kwargs)

        monkeypatch.setattr(ImageDraw.ImageDraw, name, spy)
    model = rig_of()
    taken = SimulatedPicture(shoot(SimulatedRig(model), 0.105, 0.002), model)
    draw_pictures([taken], tmp_path / "one.png")
    assert any("simulated" in words for words in said)
    said.clear()
    draw_pictures([taken, taken], tmp_path / "two.png")
    assert any("simulated" in words for words in said)


def test_the_file_holds_the_camera_s_clock_and_the_scale(tmp_path) -> None:
    model = rig_of()
    taken = SimulatedPicture(shoot(SimulatedRig(model), 0.105, 0.002), model)
    file = tmp_path / "one.jpg"
    taken.draw(file, taken=datetime(2026, 5, 4, 3, 2, 1, 250_000))
    photograph = read_photograph(file)
    assert photograph.taken == "2026-05-04 03:02:01.250"
    tags = read_tags(file)
    per_cm = float(tags["EXIF FocalPlaneXResolution"].values[0])
    pixels_per_mm = 0.1 * per_cm * model.look.magnification
    with Image.open(file) as image:
        tall_mm = image.height / pixels_per_mm
    framed = frame_action(taken.scene)
    assert tall_mm == pytest.approx(framed["frame_mm"][1] + framed["below_mm"], rel=1e-3)


def test_without_a_flash_the_picture_is_black_and_a_bad_path_is_told(tmp_path) -> None:
    model = rig_of()
    rig = SimulatedRig(model)
    open_valve(rig, 1.0)
    taken = SimulatedPicture(rig.take_splash(), model)
    taken.draw(tmp_path / "dark.png")
    assert read_pixels(tmp_path / "dark.png")[5, 5].max() < 0.05
    with pytest.raises(UserError, match="nowhere"):
        taken.draw(tmp_path / "nowhere" / "x.png")


@pytest.mark.parametrize(
    ("after_ms", "shows"), [(-60, "nothing"), (-5, "before"), (5, "crown"), (35, "cavity")]
)
def test_a_single_drop_shows_its_crown_until_it_has_sunk_back(after_ms, shows) -> None:
    model = rig_of()
    rig = SimulatedRig(model)
    open_valve(rig, 1.0)
    column = rig._splash.columns[0]
    picture = see_picture(model, column, column.drops[0].impact_s + after_ms * 1e-3)
    assert picture.shows == shows
