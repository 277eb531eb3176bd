"""A picture says where surface, drop, jet and umbrella are, how old the umbrella is, and when it is not sure.

The pictures are simulated; `python tests/benchmarks/measured_pictures.py` judges many of them under every condition.
"""

from __future__ import annotations

import json
import random
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from command_line import run_cli
from opencv import need_opencv
from photographed_rigs import find_truth, make_shot
from PIL import Image, ImageDraw

from beamfall.errors import PictureError, UserError
from beamfall.photos.measure import Measured, Scene, measure, measure_pixels, measure_series
from beamfall.photos.measure.series import share_surface
from beamfall.setup.rig import example_rig
from beamfall.sim.build import draw_model
from beamfall.sim.develop import render

need_opencv()

PIXELS = 500
KINDS = ("after", "before", "crown", "nothing")


@pytest.fixture(scope="module")
def shots():
    """A picture of each kind of one rig whose camera is tilted by 2°, with its truth."""
    model = draw_model(example_rig(), 4)
    model = replace(model, look=replace(model.look, roll_deg=2.0, noise=0.01))
    made = {}
    for kind in KINDS:
        draws = random.Random(f"measured {kind}")
        scene, stage, meeting, _ = next(
            shot for _ in range(20) if (shot := make_shot(model, kind, draws)) is not None
        )
        truth = find_truth(scene, kind, stage, meeting, PIXELS)
        made[kind] = render(scene, pixels=PIXELS), truth
    return made


def scene_of(truth) -> Scene:
    return Scene(
        scale_px_m=1e3 * truth.per_mm,
        drop_diameter_m=0.0045,
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

    def at(row: float, **other) -> Measured:
        return Measured(
            None, 400, 600, None, 0.0, "jet", 0.9, {"surface": Mark(200, row, 1)}, **other
        )

    assert share_surface([at(500), at(502), at(501)])[0] == pytest.approx(501 / 600)
    assert share_surface([at(500), at(400), at(300)]) is None  # the camera has moved


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
    [(6.0, 6.0, True), (1.5, 1.5, False), (9.0, 1.0, False), (1.0, 9.0, False)],
    ids=["umbrella", "narrower than a drop", "to the left", "to the right"],
)
def test_what_is_narrow_or_hangs_to_one_side_is_not_surely_an_umbrella(
    left_mm: float, right_mm: float, sure: bool
) -> None:
    seen = measure_pixels(
        draw_cap(left_mm, right_mm), Scene(scale_px_m=1e4, marks={"surface": 480})
    )
    assert seen.stage == ("after" if sure else None)
    assert sure or any("umbrella" in doubt for doubt in seen.doubts)


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
