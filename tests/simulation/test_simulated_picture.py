"""The simulated picture shows the simulated splash to scale, and says that it is simulated."""

from __future__ import annotations

from datetime import datetime
from pathlib import Path

import numpy as np
import pytest
from PIL import Image, ImageDraw
from simulated_drops import open_valve, rig_of, shoot

from beamfall.errors import UserError
from beamfall.photos.exif import read_photograph, read_tags
from beamfall.physics.umbrella import umbrella_radius
from beamfall.sim.collision import see_picture
from beamfall.sim.develop import render
from beamfall.sim.liquid_shapes import find_sheet
from beamfall.sim.picture import RecalledPicture, SimulatedPicture, draw_pictures, frame_action
from beamfall.sim.raytrace import Frame
from beamfall.sim.rig import SimulatedRig
from beamfall.sim.scene import make_scene


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
    # The red of the top shines through the drop's lower half.
    assert red_share[0] > red_share[1] + 0.1


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


def test_a_splash_of_a_few_millimetres_is_framed_closer_than_a_usual_one() -> None:
    def see(jet_mm: float) -> float:
        column = {
            "x_mm": 0.0,
            "diameter_mm": 2.4,
            "speed_m_s": 3.0,
            "since_ms": 80.0,
            "jet_mm": jet_mm,
            "drops": [],
        }
        sheet = [jet_mm, 3.0, 4.0, 2.4]
        scene = {
            "frame_mm": [56.0, 70.0, 25.0],
            "below_mm": 14.0,
            "columns": [column | {"umbrellas": [sheet]}],
        }
        framed = frame_action(scene)
        assert framed["frame_mm"][1] > jet_mm + 4.0
        assert framed["frame_mm"][0] > 2.0 * sheet[2] + 4.0
        return framed["frame_mm"][1] + framed["below_mm"]

    assert see(4.0) < 28.0
    assert 35.0 < see(20.0) < 45.0


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


@pytest.mark.parametrize("frame_mm", [(120.0, 60.0, 200.0), (60.0, 120.0, 200.0)])
def test_a_small_picture_is_traced_at_its_own_size(
    frame_mm: tuple[float, float, float], tmp_path: Path
) -> None:
    model = rig_of()
    scene = make_scene(shoot(SimulatedRig(model), 0.105, -0.008), model) | {"frame_mm": frame_mm}
    RecalledPicture({"scene": scene, "pictures": []}).draw(tmp_path / "small.png", width=60)
    with Image.open(tmp_path / "small.png") as image:
        assert image.width == 60
