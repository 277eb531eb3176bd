"""Pictures of one series date each other, a background takes away what stands still, and the log keeps it all."""

from __future__ import annotations

import json
import os
import random
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from arriving import SEQUENCE
from command_line import run_cli
from photographed_rigs import photograph_one
from PIL import Image

from beamfall.board import Board
from beamfall.page.review import describe_shot
from beamfall.photos.measure import Measured, Scene, Value, date_series, measure_pixels
from beamfall.physics.umbrella import umbrella_age, umbrella_radius
from beamfall.setup.rig import example_rig
from beamfall.shots import ShotLog
from beamfall.workflows.picture_measure import measure_shot
from beamfall.workflows.picture_reader import describe_logged
from beamfall.workflows.series import Shooter

DROP_M, SPEED = 0.0045, 3.6
SCENE = Scene(
    drop_diameter_m=DROP_M,
    drop_diameter_error=0.04,
    meeting_speed_m_s=SPEED,
    meeting_speed_error=0.05,
)
CONTACT_MS = 104.2  # after drop 2's beam edge, invented


def see(age_ms: float, *, by_speed: float = 1.0, by_time: float = 1.0) -> tuple[Measured, float]:
    """What is measured of a rig whose sheets spread by these factors, and the time of the light."""
    made = Measured(None, 900, 600, 6.0, 0.0, "after", 0.95, {})
    if age_ms < 0.0:
        made = replace(made, stage="before", since_contact_ms=Value(age_ms, 0.05 * -age_ms))
    else:
        radius = umbrella_radius(
            1e-3 * age_ms, DROP_M, SPEED, speed_factor=by_speed, time_factor=by_time
        )
        made = replace(made, umbrella_diameter=Value(2e3 * radius, 0.2))
    return made, CONTACT_MS + age_ms


def test_a_series_dates_umbrellas_that_hardly_grow() -> None:
    factors = {"by_speed": 0.93, "by_time": 0.9}
    ages = [-2.0, 3.0, 8.0]
    seen = [see(age, **factors) for age in ages]
    alone = umbrella_age(0.5e-3 * seen[2][0].umbrella_diameter.value, DROP_M, SPEED)
    assert alone is None or abs(1e3 * alone[0] - 8.0) > 1.0
    for age, one in zip(ages, date_series(seen, SCENE), strict=True):
        assert one.since_contact_ms.value == pytest.approx(age, abs=0.6)
        assert 0.05 < one.since_contact_ms.error < 0.7


@pytest.mark.full
def test_the_error_of_a_series_is_honest() -> None:
    """Of 60 drawn rigs, 90 % intervals hold the age of the oldest umbrella in most."""
    draws = random.Random(5)
    held = 0
    for _ in range(60):
        factors = {"by_speed": draws.gauss(1.0, 0.07), "by_time": draws.gauss(1.0, 0.08)}
        ages = [-3.0, draws.uniform(1.0, 3.0), draws.uniform(5.0, 8.0)]
        seen = [
            (one, light + draws.gauss(0.0, 0.25))
            for one, light in (see(age, **factors) for age in ages)
        ]
        value = date_series(seen, SCENE)[2].since_contact_ms
        held += abs(value.value - ages[2]) <= 1.645 * value.error
    assert held >= 48


def test_one_picture_alone_keeps_its_own_age() -> None:
    one, light = see(3.0)
    kept = replace(one, since_contact_ms=Value(3.1, 0.7))
    assert date_series([(kept, light)], SCENE) == [kept]


@pytest.fixture(scope="module")
def picture():
    """Drop 2 above the jet, with its truth."""
    return photograph_one("before", 500)[:2]


@pytest.mark.full
def test_a_background_takes_away_what_is_always_there(picture, tmp_path: Path) -> None:
    """A grey pipe behind jet and drop, drawn into the picture and into one without liquid, is no liquid."""
    pixels, truth = picture
    rows, columns, _ = pixels.shape
    empty = np.repeat(np.median(pixels, axis=1, keepdims=True), columns, axis=1).astype(np.uint8)
    pipe = slice(round(0.52 * columns), round(0.6 * columns))
    behind, with_pipe = empty.copy(), pixels.copy()
    for one in (behind, with_pipe):
        dimmed = 0.7 * one[: round(0.8 * rows), pipe]
        one[: round(0.8 * rows), pipe] = dimmed.astype(np.uint8)
    scene = Scene(scale_px_m=1e3 * truth.per_mm)
    seen = measure_pixels(with_pipe, scene, background=behind)
    assert seen.stage == "before"
    jet = (truth.surface_row - truth.tip_row) / truth.per_mm
    assert seen.jet_height.value == pytest.approx(jet, abs=0.8)
    assert seen.marks["drop"].row == pytest.approx(truth.lowest_row, abs=4.0)
    blind = measure_pixels(with_pipe, scene)
    assert blind.stage != "before" or abs(blind.marks["drop"].row - truth.lowest_row) > 20.0
    for name, content in (("seen.png", with_pipe), ("empty.png", behind)):
        Image.fromarray(content).save(tmp_path / name)
    done = run_cli(
        "photos", "measure", tmp_path / "seen.png", "--background", tmp_path / "empty.png",
        "--scale", truth.per_mm, "--json",
    )  # fmt: skip
    assert json.loads(done.stdout)["pictures"][0]["stage"] == "before"


@pytest.fixture
def logged(picture, tmp_path: Path):
    """A log with a shot whose photograph is the picture, and whose rig has its scale."""
    rig, file = example_rig(), tmp_path / "one.png"
    camera = rig.camera
    assert camera is not None
    camera = replace(camera, magnification=1e3 * picture[1].per_mm * camera.pixel_m)
    rig = replace(rig, camera=camera)
    Image.fromarray(picture[0]).save(file)
    with (
        ShotLog.open(tmp_path / "shots.sqlite3") as log,
        Board.connect("sim", rig=rig, seed=1) as board,
    ):
        Shooter.begin(board, log, "shoot", rig=rig).fire(SEQUENCE)
        log.set_picture(1, str(file))
        yield log, file


def test_what_is_measured_is_kept_beside_the_shot(logged, picture) -> None:
    log, file = logged
    made = measure_shot(log, 1, {})
    kept = log.read_shot(1).record.picture_measured
    assert kept is not None and str(file) not in json.dumps(kept)
    assert Measured.recall(kept).describe() == made.describe()
    moved = measure_shot(log, 1, {"tip": 123.0})
    assert moved.marks["tip"].row == 123.0 and moved.marks["tip"].by_hand
    assert log.read_shot(1).record.picture_measured["marks"]["tip"]["row"] == 123.0
    log.set_picture(1, None)
    assert log.read_shot(1).record.picture_measured is None


def test_the_command_keeps_it_too(logged, picture) -> None:
    log, file = logged
    environment = {**os.environ, "BEAMFALL_LOG": str(log.path)}
    done = run_cli("photos", "measure", file, environment=environment)
    assert done.returncode == 0, done.stderr
    record = log.read_shot(1).record
    assert record.picture_measured["stage"] == "before"
    # the scale is that of the rig in the log
    assert record.picture_measured["px_per_mm"] == pytest.approx(picture[1].per_mm, rel=1e-3)
    # terminal and page show it with the shot
    said = describe_logged(record)
    assert (
        said.startswith("before") and f"{100 * record.picture_measured['confidence']:.0f} %" in said
    )
    shown = run_cli("shots", "show", "1", environment=environment)
    assert said in shown.stdout
    assert describe_shot(log, 1)["measured_words"] == said


def test_a_log_whose_measurements_make_no_sense_is_shown_without_them(logged) -> None:
    log, _ = logged
    log.set_picture_measured(1, {"stage": "umbrella", "confidence": 0.9, "tip": {"value": 9.0}})
    assert describe_shot(log, 1)["measured_words"] == ""
