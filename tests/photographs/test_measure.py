"""A picture says where surface, drop, jet and umbrella are, how old the umbrella is, and when it is not sure.

The pictures are simulated; `python tests/benchmarks/measured_pictures.py` judges many of them under every condition.
"""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from command_line import run_cli
from photographed_rigs import photograph_one
from PIL import Image, ImageDraw
from tiers import in_full

from beamfall.errors import PictureError, UserError
from beamfall.photos.measure import Measured, Scene, Value, measure, measure_pixels, measure_series
from beamfall.photos.measure.edges import find_peak, take_rows_away
from beamfall.photos.measure.series import lacks, share_scene, share_surface
from beamfall.setup.rig import example_rig
from beamfall.sim.build import draw_model
from beamfall.workflows.picture_scene import make_picture_scene

PIXELS = 500
KINDS = ("after", "before", "crown", "nothing")


@pytest.fixture(scope="module")
def shots():
    """A picture of each kind of one rig whose camera is tilted by 2°, with its truth."""
    model = draw_model(example_rig(), 4)
    model = replace(model, look=replace(model.look, roll_deg=2.0, noise=0.01))
    return {kind: photograph_one(kind, PIXELS, model)[:2] for kind in KINDS}


def scene_of(truth) -> Scene:
    """What a rig file whose drops were weighed says; drop 2 is in some pictures only."""
    return Scene(
        scale_px_m=1e3 * truth.per_mm,
        drop_diameter_m=1e-3 * (truth.drop_mm or 4.0),
        meeting_speed_m_s=truth.meeting_m_s or 3.5,
    )


@pytest.mark.full
def test_an_empty_picture_is_empty_or_not_sure(shots) -> None:
    pixels, truth = shots["nothing"]
    assert measure_pixels(pixels, scene_of(truth)).stage in ("nothing", None)


@pytest.mark.parametrize("kind", KINDS[:3])
def test_the_stage_is_read(shots, kind) -> None:
    pixels, truth = shots[kind]
    seen = measure_pixels(pixels, scene_of(truth))
    assert seen.stage == truth.stage
    assert seen.confidence >= 0.8
    if kind != "crown":  # it has no long upright line to show the tilt
        assert seen.roll_deg == pytest.approx(2.0, abs=0.5)
    assert seen.marks["surface"].row == pytest.approx(truth.surface_row, abs=0.6 * truth.per_mm)


def test_the_drop_and_the_jet_are_where_they_are(shots) -> None:
    pixels, truth = shots["before"]
    seen = measure_pixels(pixels, scene_of(truth))
    assert seen.jet_height is not None and seen.drop_height is not None
    jet = (truth.surface_row - truth.tip_row) / truth.per_mm
    drop = (truth.surface_row - truth.lowest_row) / truth.per_mm
    assert seen.jet_height.value == pytest.approx(jet, abs=0.7)
    assert seen.drop_height.value == pytest.approx(drop, abs=0.7)
    assert seen.drop_diameter.value == pytest.approx(truth.drop_mm, abs=0.3)
    assert seen.since_contact_ms.value < 0.0


def test_the_umbrella_s_width_and_age_are_read(shots) -> None:
    pixels, truth = shots["after"]
    seen = measure_pixels(pixels, scene_of(truth))
    assert seen.umbrella_diameter.value == pytest.approx(truth.diameter_mm, abs=0.5)
    assert (
        abs(seen.umbrella_diameter.value - truth.diameter_mm) < 4.0 * seen.umbrella_diameter.error
    )
    assert seen.since_contact_ms.value == pytest.approx(truth.age_ms, abs=1.5)


def test_without_a_scale_there_are_marks_and_no_lengths(shots) -> None:
    pixels, _ = shots["after"]
    seen = measure_pixels(pixels, Scene())
    assert {"surface", "tip", "left", "right"} <= seen.marks.keys()
    assert seen.umbrella_diameter is None and seen.since_contact_ms is None


def test_a_mark_set_by_hand_wins(shots) -> None:
    pixels, truth = shots["before"]
    seen = measure_pixels(pixels, replace(scene_of(truth), marks={"surface": 300.0, "tip": 200.0}))
    assert seen.marks["surface"].by_hand
    assert seen.jet_height.value == pytest.approx(100.0 / truth.per_mm, rel=0.01)
    with pytest.raises(UserError):
        measure_pixels(pixels, Scene(marks={"bottom": 3.0}))


def test_a_black_and_a_noisy_picture_show_nothing(shots) -> None:
    rows, columns, _ = shots["after"][0].shape
    noise = np.random.default_rng(1).normal(120.0, 12.0, (rows, columns, 3)).clip(0, 255)
    for picture in (np.zeros((rows, columns, 3), np.uint8), noise.astype(np.uint8)):
        seen = measure_pixels(picture, Scene(scale_px_m=6000.0))
        assert seen.stage in ("nothing", None)
        assert not seen.marks


def test_pictures_of_one_camera_share_the_surface() -> None:
    from beamfall.photos.measure import Mark

    def at(row: float, stage: str | None = "jet", by_hand: bool = False) -> Measured:
        mark = Mark(200, row, 1, by_hand=by_hand)
        return Measured(None, 400, 600, None, 0.0, stage, 0.9, {"surface": mark})

    assert share_surface([at(500), at(502), at(501)])[0] == pytest.approx(501 / 600)
    assert share_surface([at(500), at(400), at(300)]) is None  # the camera has moved
    crowns = [at(450, "crown"), at(448, None)]
    shared = share_scene([*crowns, at(501)], Scene())
    assert shared.surface_row[0] == pytest.approx(501 / 600)
    assert share_surface(crowns) is None
    assert all(lacks(one, shared) for one in crowns)
    assert not lacks(at(503), shared) and not lacks(at(450, by_hand=True), shared)


def draw_cap(left_mm: float, right_mm: float) -> np.ndarray:
    """A stem 24 mm high and 1 mm wide under a cap that reaches so far to both sides, and its reflection; 10 px/mm."""
    picture = Image.new("RGB", (600, 700), (190, 200, 210))
    pen, middle, surface = ImageDraw.Draw(picture), 300, 480
    pen.rectangle((0, surface, 600, 700), fill=(160, 170, 180))
    for shade, up in ((40, -1), (120, 1)):
        foot, cap = (surface, surface + up * 240), (surface + up * 225, surface + up * 245)
        pen.rectangle((middle - 5, min(foot), middle + 5, max(foot)), fill=(shade,) * 3)
        pen.ellipse(
            (middle - 10 * left_mm, min(cap), middle + 10 * right_mm, max(cap)), fill=(shade,) * 3
        )
    return np.asarray(picture)


@pytest.mark.parametrize(
    ("left_mm", "right_mm", "sure"),
    [
        pytest.param(6.0, 6.0, True, id="umbrella", marks=pytest.mark.full),
        pytest.param(1.5, 1.5, False, id="narrower than a drop"),
        pytest.param(9.0, 1.0, False, id="to the left", marks=pytest.mark.full),
        pytest.param(1.0, 9.0, False, id="to the right", marks=pytest.mark.full),
    ],
)
def test_what_is_narrow_or_hangs_to_one_side_is_not_surely_an_umbrella(
    left_mm: float, right_mm: float, sure: bool
) -> None:
    seen = measure_pixels(
        draw_cap(left_mm, right_mm), Scene(scale_px_m=1e4, marks={"surface": 480})
    )
    assert seen.stage == ("after" if sure else None)
    assert sure or any("umbrella" in doubt for doubt in seen.doubts)


def draw_rings(down_deg: float, least_deg: float = -180.0, most_deg: float = 180.0) -> np.ndarray:
    """An umbrella 12 mm wide and 24 mm high, seen from above within part of each ring; 10 px/mm."""
    rows, columns = np.mgrid[0:700, 0:900]
    right, away = columns - 450.0, (450.0 - rows) / np.sin(np.radians(down_deg))
    far, turn = np.hypot(right, away), np.degrees(np.arctan2(away, right))
    seen = (far > 40.0) & (turn >= least_deg) & (turn <= most_deg)
    light = 150.0 + 45.0 * np.cos(far / 9.0) * np.exp(-far / 400.0) * seen
    light += np.random.default_rng(1).normal(0.0, 2.0, light.shape)
    picture = Image.fromarray(np.repeat(light.clip(0, 255).astype(np.uint8)[:, :, None], 3, axis=2))
    pen, high = ImageDraw.Draw(picture), 240 * np.cos(np.radians(down_deg))
    pen.rectangle((440, 450 - high, 460, 455), fill=(40, 40, 60))
    pen.ellipse((390, 443 - high, 510, 463 - high), fill=(40, 40, 60))
    return np.asarray(picture)


@pytest.mark.parametrize("down_deg", [15.0, *in_full(25.0)])
def test_rings_show_where_the_camera_is_and_are_no_part_of_the_splash(down_deg: float) -> None:
    seen = measure_pixels(draw_rings(down_deg), Scene(scale_px_m=1e4))
    assert seen.looks_down.value == pytest.approx(down_deg, abs=1.5)
    assert seen.marks["surface"].row == pytest.approx(450, abs=5)
    assert seen.stage == "after"
    assert seen.umbrella_diameter.value == pytest.approx(12.0, abs=0.5)
    assert seen.umbrella_height.value == pytest.approx(24.0, abs=1.5)


def draw_falling(tilt_deg: float) -> np.ndarray:
    """A drop of 4 mm above a calm surface with a soft horizon, brighter on the right; 7 px/mm."""
    rows, columns = np.mgrid[0:600, 0:360]
    across = (columns - 180.0) / 180.0
    level = 430.0 - 180.0 * across * np.tan(np.radians(tilt_deg))
    light = (170.0 - 60.0 / (1.0 + np.exp(-(rows - level) / 4.0))) * (1.0 + 0.35 * across)
    light[np.hypot(rows - 250.0, columns - 170.0) < 14.0] = 60.0
    light += np.random.default_rng(2).normal(0.0, 5.0, light.shape)
    return np.repeat(light.clip(0, 255).astype(np.uint8)[:, :, None], 3, axis=2)


@pytest.mark.parametrize("tilt_deg", [2.5, -1.5])
def test_the_horizon_alone_shows_the_tilt(tilt_deg: float) -> None:
    seen = measure_pixels(draw_falling(tilt_deg), Scene(scale_px_m=7e3))
    assert seen.roll_deg == pytest.approx(tilt_deg, abs=0.4)


@pytest.mark.parametrize(
    ("values", "peak"),
    [([9.0, 5.0, 2.0, 4.0, 3.0, 8.0], 3), ([1.0, 2.0, 3.0], None), ([1.0, 4.0, 3.0, 2.0], 1)],
)
def test_what_lines_up_best_at_the_largest_tilt_is_no_horizon(
    values: list[float], peak: int | None
) -> None:
    assert find_peak(np.array(values)) == peak


def test_a_horizon_in_uneven_light_is_no_outline() -> None:
    across = np.linspace(-1.0, 1.0, 360)
    horizon = 4.0 * np.exp(-(((np.arange(600) - 430.0) / 6.0) ** 2))
    down = np.repeat((horizon[:, None] * (1.0 + 0.5 * across))[:, :, None], 3, axis=2)
    down[200:204, 170:190] = 3.0  # the edge of something in the air
    left = np.abs(take_rows_away(down))
    assert left[400:460].max() < 0.05 * horizon.max()
    assert left[202, 180] == pytest.approx(3.0)


def test_a_drop_beside_the_top_of_a_jet_is_not_surely_an_umbrella() -> None:
    picture = draw_cap(0.0, 0.0)
    disc = Image.fromarray(picture)
    pen = ImageDraw.Draw(disc)
    for middle in (300, 262):
        pen.ellipse((middle - 20, 220, middle + 20, 260), fill=(40, 40, 40))
    seen = measure_pixels(np.asarray(disc), Scene(scale_px_m=1e4, marks={"surface": 480}))
    assert seen.stage is None


def test_a_known_angle_is_used_where_no_rings_are_seen(shots) -> None:
    pixels, truth = shots["before"]
    level = measure_pixels(pixels, replace(scene_of(truth), looks_down_deg=0.0))
    above = measure_pixels(pixels, replace(scene_of(truth), looks_down_deg=20.0))
    stretched = 1.0 / np.cos(np.radians(20.0))
    assert above.jet_height.value == pytest.approx(level.jet_height.value * stretched)
    assert above.since_contact_ms.value == pytest.approx(level.since_contact_ms.value * stretched)
    assert Measured.recall(above.describe()).looks_down.value == 20.0


def test_the_camera_s_angle_of_the_rig_file_is_that_of_its_pictures() -> None:
    rig = example_rig()
    assert rig.camera is not None
    steep = replace(rig, camera=replace(rig.camera, looks_down_deg=25.0))
    assert draw_model(steep, 1).look.down_deg == 25.0
    assert make_picture_scene(steep).looks_down_deg == 25.0


def test_half_rings_that_stand_above_the_surface_make_the_reader_unsure() -> None:
    """Rings that are not understood, here without their near halves, may hide what stands."""
    seen = measure_pixels(draw_rings(25.0, 15.0, 165.0), Scene(scale_px_m=1e4))
    assert seen.looks_down is None
    assert seen.stage is None
    assert any("rings" in doubt for doubt in seen.doubts)


def test_pictures_of_one_camera_share_its_angle() -> None:
    def at(angle: float | None) -> Measured:
        shown = None if angle is None else Value(angle, 3.0)
        return Measured(None, 400, 600, None, 0.0, "jet", 0.9, {}, looks_down=shown)

    made = share_scene([at(19.0), at(None), at(21.0), at(35.0)], Scene())
    assert made.looks_down_deg == 21.0
    assert lacks(at(None), made) and not lacks(at(19.0), made)
    assert share_scene([at(19.0)], Scene(looks_down_deg=5.0)).looks_down_deg == 5.0


@pytest.fixture
def folder(shots, tmp_path: Path) -> Path:
    for kind in ("after", "before"):
        Image.fromarray(shots[kind][0]).save(tmp_path / f"{kind}.png")
    (tmp_path / "torn.jpg").write_bytes(b"\xff\xd8\xff\xe0 no more")
    return tmp_path


def test_a_damaged_picture_stops_nothing(folder: Path, shots) -> None:
    scene = scene_of(shots["after"][1])
    made = measure_series([folder / "torn.jpg", folder / "after.png"], scene)
    assert isinstance(made[0], PictureError) and isinstance(made[1], Measured)
    with pytest.raises(PictureError):
        measure(folder / "missing.jpg")


def test_the_command_scales_by_a_drop_or_a_ruler_and_draws_what_it_read(
    folder: Path, shots
) -> None:
    truth = shots["before"][1]
    volume = f"{np.pi / 6.0 * truth.drop_mm**3:.2f} uL"
    files = [str(folder / name) for name in ("after.png", "before.png", "torn.jpg")]
    done = run_cli(
        "photos", "measure", *files, "--drop-volume", volume, "--overlay", folder / "over", "--json"
    )
    assert done.returncode == 1  # one could not be read
    after, before, torn = json.loads(done.stdout)["pictures"]
    assert before["px_per_mm"] == pytest.approx(truth.per_mm, rel=0.05)
    assert after["stage"] == "after" and "error" in torn
    assert (folder / "over" / "after.measured.jpg").exists()
    ruler = f"10,20,10,{20 + 30 * truth.per_mm},30"
    done = run_cli("photos", "measure", files[0], "--ruler", ruler, "--json")
    assert json.loads(done.stdout)["pictures"][0]["px_per_mm"] == pytest.approx(
        truth.per_mm, rel=1e-3
    )
    assert run_cli("photos", "measure", files[0], "--ruler", "1,2,3").returncode == 2
    lost = folder / "lost.png"
    done = run_cli("photos", "measure", files[0], "--background", lost)
    assert done.returncode == 2 and str(lost) in done.stderr, "not a picture that was left out"
    done = run_cli("photos", "measure", folder)
    assert done.returncode == 1 and str(folder) in done.stdout and "folder" in done.stdout
