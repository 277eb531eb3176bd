"""What a drawing cannot show does not count as read, and what it does show is read in spite of faint or close parts."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from PIL import Image, ImageDraw, ImageFilter

from beamfall.photos.measure import Scene, measure_pixels

LIGHT, DARK = (190, 200, 210), (40, 40, 40)
SURFACE, MIDDLE = 480, 300


def draw(shapes: list[tuple[str, tuple[int, ...]]], *, noise: float = 0.0) -> np.ndarray:
    """Dark shapes before a light wall, 600 by 700 pixels, at 10 pixels in a mm."""
    picture = Image.new("RGB", (600, 700), LIGHT)
    pen = ImageDraw.Draw(picture)
    for kind, box in shapes:
        getattr(pen, kind)(box, fill=DARK)
    light = np.asarray(picture).astype(float)
    light += np.random.default_rng(1).normal(0.0, noise, light.shape)
    return light.clip(0, 255).astype(np.uint8)


def make_stem(
    top: int, foot: int = SURFACE, half: int = 8
) -> tuple[str, tuple[int, int, int, int]]:
    return "rectangle", (MIDDLE - half, top, MIDDLE + half, foot)


def make_ball(row: int, radius: int = 20) -> tuple[str, tuple[int, int, int, int]]:
    return "ellipse", (MIDDLE - radius, row - radius, MIDDLE + radius, row + radius)


@pytest.mark.full
def test_a_drop_that_is_not_mirrored_shows_that_the_middle_of_a_column_is_no_surface() -> None:
    column = [make_stem(200, 520), make_ball(130)]
    mirrored = measure_pixels(draw([*column, make_ball(590)]), Scene())
    assert mirrored.marks["surface"].row == pytest.approx(360, abs=2)
    alone = measure_pixels(draw(column), Scene())
    assert "surface" not in alone.marks
    assert any("surface" in doubt for doubt in alone.doubts)


@pytest.mark.full
def test_a_reflection_reaches_no_further_than_what_it_reflects() -> None:
    """Two knobs that mirror each other about a third, high on a column, are no cap and its reflection."""
    knobs = [(310, 45, 12), (360, 70, 14), (410, 45, 12)]
    column = [make_stem(300, 640)] + [
        ("ellipse", (MIDDLE - wide, row - high, MIDDLE + wide, row + high))
        for row, wide, high in knobs
    ]
    assert "surface" not in measure_pixels(draw(column), Scene()).marks
    column[0] = make_stem(300, 420)
    assert measure_pixels(draw(column), Scene()).marks["surface"].row == pytest.approx(360, abs=2)


def test_an_umbrella_that_fills_most_of_the_frame_is_no_horizon() -> None:
    cap = "ellipse", (60, 230, 540, 275)
    seen = measure_pixels(
        draw([make_stem(250), cap]), Scene(scale_px_m=1.6e4, marks={"surface": SURFACE})
    )
    assert seen.stage == "after"
    assert seen.umbrella_diameter.value == pytest.approx(30.0, abs=0.5)


def test_a_jet_whose_foot_is_too_faint_to_see_stands_on_the_surface() -> None:
    cap = "ellipse", (240, 230, 360, 250)
    seen = measure_pixels(
        draw([make_stem(240, SURFACE - 40), cap]), Scene(scale_px_m=1e4, marks={"surface": SURFACE})
    )
    assert seen.stage == "after"
    assert seen.umbrella_height.value == pytest.approx(25.0, abs=0.3)


def test_the_cap_of_an_umbrella_whose_sheet_is_clear_is_its_highest_point() -> None:
    rim, cap = ("rectangle", (200, 255, 400, 265)), ("ellipse", (265, 226, 335, 242))
    seen = measure_pixels(
        draw([make_stem(265), rim, cap]), Scene(scale_px_m=1e4, marks={"surface": SURFACE})
    )
    assert seen.stage == "after"
    assert seen.umbrella_height.value == pytest.approx(25.4, abs=0.3)


@pytest.mark.parametrize(("drop_mm", "sure"), [(4.0, True), (5.5, False)])
def test_what_is_smaller_than_drop_2_may_be_the_jet_s_own_droplet(
    drop_mm: float, sure: bool
) -> None:
    scene = Scene(
        scale_px_m=1e4,
        marks={"surface": SURFACE},
        drop_diameter_m=1e-3 * drop_mm,
        drop_diameter_error=0.05,
    )
    seen = measure_pixels(draw([make_stem(250), make_ball(150)]), scene)
    assert seen.stage == ("before" if sure else None)
    assert sure or any("droplet" in doubt for doubt in seen.doubts)


@pytest.mark.full
@pytest.mark.parametrize("spreads", [False, True])
def test_what_spreads_on_a_jet_below_a_ball_makes_the_stage_unsure(spreads: bool) -> None:
    shapes = [make_stem(200), make_ball(170), make_ball(215, 18)]
    sheet = "ellipse", (220, 390, 380, 405)
    seen = measure_pixels(
        draw([*shapes, sheet] if spreads else shapes),
        Scene(scale_px_m=1e4, marks={"surface": SURFACE}),
    )
    assert seen.stage == (None if spreads else "contact")


@pytest.mark.full
def test_a_drop_that_the_frame_cuts_in_a_faint_noisy_picture_is_something() -> None:
    picture = Image.new("RGB", (600, 700), LIGHT)
    ImageDraw.Draw(picture).ellipse((270, -35, 330, 25), fill=(145, 155, 165))
    light = np.asarray(picture.filter(ImageFilter.GaussianBlur(1.5))).astype(float)
    light += np.random.default_rng(1).normal(0.0, 9.0, light.shape)
    seen = measure_pixels(light.clip(0, 255).astype(np.uint8), Scene(scale_px_m=1e4))
    assert seen.stage == "before"


def make_crown(half: int = 70, high: int = 70) -> tuple[str, tuple[int, ...]]:
    """A wall that leans outwards, and its reflection."""
    foot = round(0.8 * half)
    upper = (MIDDLE - half, SURFACE - high, MIDDLE + half, SURFACE - high)
    lower = (MIDDLE + half, SURFACE + high, MIDDLE - half, SURFACE + high)
    return "polygon", (*upper, MIDDLE + foot, SURFACE, *lower, MIDDLE - foot, SURFACE)


KNOWN = Scene(scale_px_m=1e4, marks={"surface": SURFACE})


@pytest.mark.full
def test_a_low_umbrella_stands_on_a_stem_and_a_crown_does_not() -> None:
    sheet = "ellipse", (MIDDLE - 55, SURFACE - 60, MIDDLE + 55, SURFACE - 36)
    assert measure_pixels(draw([make_stem(SURFACE - 50, half=14), sheet]), KNOWN).stage == "after"
    assert measure_pixels(draw([make_crown()]), KNOWN).stage == "crown"
    low = measure_pixels(draw([make_crown(120, 50)]), KNOWN)
    assert low.stage is None
    assert any("ripples" in doubt for doubt in low.doubts)


def test_a_drop_above_a_crown_has_met_nothing_yet() -> None:
    seen = measure_pixels(draw([make_crown(), make_ball(200)]), KNOWN)
    assert seen.stage == "before"
    assert seen.drop_height.value == pytest.approx(26.0, abs=0.4)


def make_foot(top: int, half: int) -> tuple[str, tuple[int, ...]]:
    return "polygon", (
        MIDDLE - half,
        top,
        MIDDLE + half,
        top,
        MIDDLE + 42,
        SURFACE,
        MIDDLE - 42,
        SURFACE,
    )


def test_a_young_umbrella_s_dome_and_rim_above_the_jet_s_bulb_are_no_drop() -> None:
    dome, rim = make_ball(330, 16), ("ellipse", (MIDDLE - 32, 326, MIDDLE + 32, 346))
    jet = make_stem(330, half=12), make_ball(376, 17)
    assert measure_pixels(draw([*jet, dome, rim]), KNOWN).stage == "after"


def test_a_short_jet_s_bulb_above_its_foot_is_no_drop_on_a_jet() -> None:
    seen = measure_pixels(
        draw([make_stem(400, half=10), make_ball(400, 17), make_foot(425, 10)]), KNOWN
    )
    assert seen.stage in ("jet", None)
    assert "drop" not in seen.marks


def test_a_jet_that_is_as_thick_below_as_at_its_top_is_no_contact() -> None:
    seen = measure_pixels(draw([make_stem(250, half=17), make_ball(250, 17)]), KNOWN)
    assert seen.stage == "jet"


@pytest.mark.full
def test_a_jet_s_wide_head_that_is_smaller_than_the_drop_is_no_umbrella() -> None:
    head = "ellipse", (MIDDLE - 19, 240, MIDDLE + 19, 260)
    shapes = [make_stem(250), head]
    known = replace(KNOWN, drop_diameter_m=0.0045, drop_diameter_error=0.03)
    assert measure_pixels(draw([*shapes, make_ball(120, 22)]), known).stage == "before"
    assert measure_pixels(draw(shapes), known).stage is None
    cap = "ellipse", (MIDDLE - 40, 240, MIDDLE + 40, 260)
    assert measure_pixels(draw([make_stem(250), cap]), known).stage == "after"


def test_a_jet_that_widens_to_its_foot_below_a_slight_neck_is_no_contact() -> None:
    cone = (
        "polygon",
        (MIDDLE - 15, 275, MIDDLE + 15, 275, MIDDLE + 36, SURFACE, MIDDLE - 36, SURFACE),
    )
    assert measure_pixels(draw([cone, make_ball(265, 18)]), KNOWN).stage == "jet"


def test_a_crown_whose_wall_is_hidden_by_its_fingers_is_one() -> None:
    foot = (
        "polygon",
        (MIDDLE - 60, 430, MIDDLE + 60, 430, MIDDLE + 75, SURFACE, MIDDLE - 75, SURFACE),
    )
    fingers = [
        ("rectangle", (MIDDLE + x - 2, 400, MIDDLE + x + 2, 430)) for x in (-52, -25, 0, 25, 52)
    ]
    assert measure_pixels(draw([foot, *fingers]), KNOWN).stage == "crown"


@pytest.mark.parametrize(("half_height", "stage"), [(42, None), (22, None), (9, "after")])
def test_the_head_of_a_thin_jet_is_an_umbrella_only_if_it_is_flat(half_height, stage) -> None:
    half = 60 if stage == "after" else 22
    head = "ellipse", (MIDDLE - half, 250 - half_height, MIDDLE + half, 250 + half_height)
    assert measure_pixels(draw([make_stem(250), head]), KNOWN).stage == stage


@pytest.mark.full
def test_where_the_surface_is_not_clear_a_stage_that_does_not_hang_on_it_is_sure() -> None:
    jet = [make_stem(230, 640), make_ball(230, 10)]
    assert measure_pixels(draw(jet), Scene(scale_px_m=1e4)).stage == "jet"
    cap = "ellipse", (220, 230, 380, 250)
    seen = measure_pixels(draw([make_stem(240, 640), cap]), Scene(scale_px_m=1e4))
    assert "surface" not in seen.marks
    assert seen.stage == "after"
    low = [make_stem(430, half=14), ("ellipse", (240, 420, 360, 445))]
    assert measure_pixels(draw(low), Scene(scale_px_m=1e4)).stage in ("after", None)


def test_a_reflection_that_the_frame_cuts_proves_less() -> None:
    """The reflected bulb is its own mirror image, and the frame ends below it."""
    bulbs = [make_ball(230, 15), make_ball(655, 22)]
    foot = "polygon", (MIDDLE - 8, 410, MIDDLE + 8, 410, MIDDLE + 28, 440, MIDDLE - 28, 440)
    seen = measure_pixels(draw([make_stem(230, 655), foot, *bulbs]), Scene(scale_px_m=1e4))
    assert "surface" not in seen.marks or seen.marks["surface"].row == pytest.approx(440, abs=8)


@pytest.mark.full
def test_a_low_ring_is_no_crown_once_it_is_wider_than_any_crown_of_such_a_drop() -> None:
    """A ring 33 mm wide, seen from a few degrees above. Drops of 3.8 mm leave such rings, of 4.6 mm crowns as wide."""
    ring = "ellipse", (MIDDLE - 165, SURFACE - 25, MIDDLE + 165, SURFACE + 20)

    def look(drop_m: float | None, *others: tuple[str, tuple[int, ...]]) -> str | None:
        scene = Scene(scale_px_m=1e4, drop_diameter_m=drop_m, marks={"surface": SURFACE})
        return measure_pixels(draw([ring, *others]), scene).stage

    assert look(3.8e-3) == "nothing"
    assert look(4.6e-3) is None
    assert look(None) is None
    begins = "polygon", (MIDDLE - 30, SURFACE, MIDDLE, SURFACE - 52, MIDDLE + 30, SURFACE)
    assert look(3.8e-3, begins) == "jet"


def test_what_touches_a_jet_and_is_wider_than_drop_2_may_have_met_it() -> None:
    """Drop 2 has spread to a third more: alone it looks as if it had just arrived."""
    shapes = [make_stem(250, half=10), make_ball(230, 24), make_ball(275, 18)]
    known = replace(KNOWN, drop_diameter_error=0.03)
    assert measure_pixels(draw(shapes), replace(known, drop_diameter_m=4.8e-3)).stage == "contact"
    seen = measure_pixels(draw(shapes), replace(known, drop_diameter_m=3.6e-3))
    assert seen.stage is None and any("too large" in doubt for doubt in seen.doubts)
