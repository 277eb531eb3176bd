"""What a shot's beam edges add to its photograph: they decide between shapes that look alike, and date umbrellas."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from photographed_rigs import photograph_one
from PIL import Image, ImageDraw

from beamfall.photos.measure import Measured, Scene, Value, date_series, measure_pixels
from beamfall.photos.measure.age import find_age, find_cap
from beamfall.photos.measure.decide import decide
from beamfall.photos.measure.read import Reading
from beamfall.photos.measure.series import lacks, share_offset
from beamfall.photos.measure.shapes import Blob, Standing
from beamfall.photos.measure.upright import measure_standing
from beamfall.physics.expected_drop import ExpectedDrop
from beamfall.physics.umbrella import umbrella_radius

DROP_MM, SPEED, PER_MM, SURFACE = 4.0, 3.0, 10.0, 700.0
FIRST = ExpectedDrop(-0.2, 5e-3, 3e-4, SPEED)  # it struck long before
KNOWN = Scene(drop_diameter_m=1e-3 * DROP_MM, meeting_speed_m_s=3.5)


def drop_2(height_mm: float, error_mm: float = 2.0) -> tuple[ExpectedDrop, ...]:
    return FIRST, ExpectedDrop(1e-3 * height_mm, 1e-3 * error_mm, 3e-4, SPEED)


def read(stage: str, confidence: float, tip_mm: float, drop_mm: float | None = None) -> Reading:
    row = None if drop_mm is None else SURFACE - PER_MM * drop_mm
    return Reading(
        stage, confidence, axis=250.0, surface=SURFACE, about=(SURFACE, 2.0),
        tip=SURFACE - PER_MM * tip_mm, lowest=row,
    )  # fmt: skip


def judge(reading: Reading, expected: tuple[ExpectedDrop | None, ...]) -> Reading:
    return decide(reading, expected, PER_MM, DROP_MM, 0.03, KNOWN.meeting_speed_m_s)


def test_a_ball_where_drop_2_is_expected_is_drop_2() -> None:
    ball = read("before", 0.7, 20.0, 30.0)
    seen = judge(ball, drop_2(31.0))
    assert seen.stage == "before" and seen.confidence > 0.8 and not seen.doubts
    elsewhere = judge(ball, drop_2(110.0))
    assert elsewhere.confidence < 0.8


@pytest.mark.parametrize(
    ("stage", "height_mm"), [("after", 110.0), ("before", -40.0), ("jet", 30.0)]
)
def test_a_clear_picture_that_the_log_contradicts_is_not_sure(stage, height_mm) -> None:
    clear = read(stage, 0.97, 20.0, 28.0 if stage == "before" else None)
    seen = judge(clear, drop_2(height_mm))
    assert seen.stage == stage and seen.confidence < 0.8 and seen.doubts


def test_without_an_edge_an_outline_or_a_log_nothing_changes() -> None:
    reading = read("jet", 0.7, 20.0)
    assert judge(reading, ()) is reading
    assert judge(reading, (FIRST, None)) is reading
    empty = replace(reading, surface=None, about=None)
    assert judge(empty, drop_2(20.0)) is empty


def test_the_log_helps_where_the_surface_is_not_clear() -> None:
    """A surface that may be off by 3 mm: drop 2 is expected where the ball is, or far from there."""
    ball = replace(read("before", 0.7, 20.0, 30.0), surface=None, about=(SURFACE, 3.0 * PER_MM))
    seen = judge(ball, drop_2(32.0))
    assert seen.stage == "before" and seen.confidence > 0.8 and seen.surface is None
    assert judge(ball, drop_2(110.0)).confidence < 0.8


def first_drop(since_ms: float) -> tuple[ExpectedDrop, ...]:
    """One drop that struck so long ago. Its crown ends after 32 ms, its jet begins after 42 ms."""
    return (ExpectedDrop(-1e-3 * SPEED * since_ms, 1e-3, 3e-4, SPEED, (42e-3, 2e-3), (0.15, 0.02)),)


def test_the_time_since_the_impact_says_what_a_low_ring_is() -> None:
    ring = replace(read("crown", 0.6, 2.0), is_low_ring=True, standing=standing([16.0] * 20))
    young, old = judge(ring, first_drop(10.0)), judge(ring, first_drop(40.5))
    assert young.stage == "crown" and young.confidence > 0.8
    assert old.stage == "nothing" and old.confidence > 0.8
    assert judge(ring, first_drop(32.0)).confidence < 0.8


def standing(widths_mm: list[float]) -> Standing:
    """What stands on the surface, by its width in each tenth of a mm from its top down."""
    widths = PER_MM * np.array(widths_mm)
    first = round(SURFACE) - widths.size
    return Standing(250.0, first + 2.1, first, 250.0 - widths / 2, 250.0 + widths / 2, widths, widths)  # fmt: skip


@pytest.mark.parametrize(("jet_ms", "stage"), [(50.0, "crown"), (30.0, "nothing")])
def test_a_large_crown_sinks_late(jet_ms, stage) -> None:
    """After the same share of the time to its jet: a millimetre is less of a large crown than of a small one."""
    ring = replace(read("crown", 0.6, 2.0), is_low_ring=True, standing=standing([16.0] * 20))
    since_s, slow = 0.84e-3 * jet_ms, 2.0
    jet_s = 1e-3 * jet_ms
    drop = ExpectedDrop(-slow * since_s, 1e-4, 1e-4, slow, (jet_s, 0.02 * jet_s), (0.15, 0.02))
    seen = judge(ring, (drop,))
    assert seen.stage == stage and seen.confidence > 0.8


def test_a_ring_as_wide_as_no_crown_may_still_be_one_when_crowns_sink() -> None:
    ring = replace(read("nothing", 0.9, 2.0), is_low_ring=True, standing=standing([16.0] * 20))
    assert judge(ring, first_drop(40.0)).stage == "nothing"
    assert judge(ring, first_drop(40.0)).confidence > 0.8
    assert judge(ring, first_drop(32.0)).confidence < 0.8


def test_a_jet_stands_out_of_a_low_ring_soon_after_it_begins() -> None:
    """It should have begun 4 ms ago, give or take 4: that it begins later is likelier than that the ring hides it."""
    ring = replace(read("nothing", 0.9, 2.0), is_low_ring=True, standing=standing([16.0] * 20))
    drop = ExpectedDrop(-1e-3 * SPEED * 46.0, 1e-4, 1e-4, SPEED, (42e-3, 4e-3), (0.15, 0.02))
    seen = judge(ring, (drop,))
    assert seen.stage == "nothing" and seen.confidence > 0.8


def test_what_hardly_stands_is_no_jet_right_after_the_impact() -> None:
    lump = replace(read("jet", 0.6, 2.0), standing=standing([8.0] * 20))
    seen = judge(lump, first_drop(4.0))
    assert seen.stage == "crown" and seen.confidence > 0.8
    assert judge(lump, first_drop(60.0)).stage == "jet"


@pytest.mark.parametrize(("wider", "stage"), [(1.0, "contact"), (1.4, "after")])
def test_a_ball_on_a_jet_that_is_wider_than_drop_2_has_met_it(wider, stage) -> None:
    wide = 1.04 * wider * DROP_MM
    depth = np.arange(0.05, wide, 0.1)
    ball = 2.0 * np.sqrt(depth * (wide - depth))
    shape = standing([*([0.0] * 2), *ball, *([1.2] * 150)])
    tip_mm = (SURFACE - shape.tip) / PER_MM
    seen = replace(
        read("jet", 0.7, tip_mm), standing=shape, upright=measure_standing(shape, SURFACE, PER_MM)
    )
    made = judge(seen, drop_2(tip_mm - wide, 0.5))
    assert made.stage == stage and made.confidence > 0.8


def make_ball(wide: float) -> np.ndarray:
    """Widths in mm of the outline of a ball, in each tenth of a mm from its top down."""
    depth = np.arange(0.05, wide, 0.1)
    return 2.0 * np.sqrt(depth * (wide - depth))


def on_a_jet(widths_mm: list[float]) -> tuple[Reading, float]:
    """What such a shape is alone, and where its tip is in mm."""
    shape = standing([0.0, 0.0, *widths_mm, *([1.2] * 150)])
    tip_mm = (SURFACE - shape.tip) / PER_MM
    upright = measure_standing(shape, SURFACE, PER_MM)
    return replace(read("jet", 0.7, tip_mm), standing=shape, upright=upright), tip_mm


WIDE = 1.04 * DROP_MM  # as outlines show drop 2


@pytest.mark.parametrize(("depth_mm", "stage"), [(3.0, "contact"), (2.0, "after")])
def test_a_ball_that_is_round_down_to_its_lower_half_has_only_just_met_a_wide_head(
    depth_mm, stage
) -> None:
    """Above a head 1.4 times as wide as drop 2. What has met the jet for longer shows less of the drop."""
    ball = make_ball(WIDE)[: round(10 * depth_mm)]
    head = [max(float(ball[-1]), 5.0), *([5.6] * 30), 4.0, 2.5]
    seen, tip_mm = on_a_jet([*ball, *head])
    made = judge(seen, drop_2(tip_mm - WIDE, 0.5))
    assert (made.stage == "contact" and made.confidence > 0.8) == (stage == "contact")


def look_at_small_drop(gap_px: int) -> Measured:
    """Drop 2, 20 pixels wide, so far above a head whose top is 36 mm high, at 5 pixels in a mm."""
    picture = Image.new("RGB", (400, 600), (190, 200, 210))
    pen, top = ImageDraw.Draw(picture), 300
    pen.ellipse((188, top, 212, top + 36), fill=(40, 40, 40))
    pen.rectangle((195, top + 18, 205, 500), fill=(40, 40, 40))
    lowest = top - gap_px
    pen.ellipse((190, lowest - 20, 210, lowest), fill=(40, 40, 40))
    expected = drop_2((480 - lowest) / 5.0, 0.5)
    scene = replace(KNOWN, scale_px_m=5e3, marks={"surface": 480.0}, expected=expected)
    return measure_pixels(np.asarray(picture), scene)


@pytest.mark.parametrize(("gap_px", "stage"), [(1, "contact"), (5, None), (8, "before")])
def test_a_gap_that_outlines_hide_in_a_small_picture_is_still_seen(gap_px, stage) -> None:
    """Outlines join what is up to 8 pixels apart, half a ms at this size."""
    assert look_at_small_drop(gap_px).stage == stage


def test_a_drop_that_has_entered_the_jet_hides_its_tip() -> None:
    seen = look_at_small_drop(-4)
    assert seen.stage == "contact"
    assert seen.jet_height.value == pytest.approx(36.0, abs=0.4)
    assert seen.drop_height.value == pytest.approx(35.2, abs=0.4)


def test_a_drop_above_a_wide_head_is_drop_2_where_the_log_expects_it() -> None:
    cap = standing([1.0, 3.0, 5.0, *([6.0] * 8), 5.0, 3.0, *([1.2] * 150)])
    row = SURFACE - PER_MM * 30.0
    drop = Blob(250.0, row - 20.0, 40.0, 40.0, 40.0, row, is_cut=False, is_round=True)
    tip_mm = (SURFACE - cap.tip) / PER_MM
    head = replace(
        read("after", 0.75, tip_mm), standing=cap, upright=measure_standing(cap, SURFACE, PER_MM), apart=drop
    )  # fmt: skip
    seen = judge(head, drop_2(30.5, 0.5))
    assert seen.stage == "before" and seen.confidence > 0.8 and seen.lowest == pytest.approx(row)
    assert judge(head, drop_2(12.0, 0.5)).stage == "after"


def test_the_log_is_not_as_exact_as_the_gap() -> None:
    """Contact begins 0.25 ms before the drop meets the jet; the log cannot say on which side of that a gap is."""
    touching = replace(read("contact", 0.94, 20.0, 21.0), gap_ms=0.24)
    assert judge(touching, drop_2(21.0, 0.5)).confidence < 0.8
    closer = judge(replace(touching, gap_ms=0.1), drop_2(21.0, 0.5))
    assert closer.stage == "contact" and closer.confidence > 0.8


def test_one_drop_makes_no_umbrella() -> None:
    """A wide head on the jet of a single drop is the jet's own."""
    assert judge(read("after", 0.75, 20.0), (FIRST,)).confidence < 0.5


@pytest.fixture(scope="module")
def touching():
    """Drop 2 on the tip of a jet, with its truth, and how high it is expected."""
    pixels, truth, taken = photograph_one("contact", 400)
    return pixels, truth, taken.heights_m[1]


def test_the_log_says_whether_a_ball_on_a_jet_is_drop_2(touching) -> None:
    pixels, truth, height_m = touching
    scene = replace(KNOWN, scale_px_m=1e3 * truth.per_mm, drop_diameter_m=1e-3 * truth.drop_mm)
    at = ExpectedDrop(height_m + 2e-3, 4e-3, 3e-4, SPEED)
    assert measure_pixels(pixels, replace(scene, expected=(FIRST, at))).stage == "contact"
    far = replace(at, height_m=0.12)
    assert measure_pixels(pixels, replace(scene, expected=(FIRST, far))).stage in ("jet", None)


def umbrella(age_ms: float, contact_mm: float = 20.0, factor: float = 1.0) -> Measured:
    """What is measured of an umbrella that spreads faster than the law by a factor."""
    radius = umbrella_radius(1e-3 * age_ms, 1e-3 * DROP_MM, 3.5, speed_factor=factor)
    return Measured(
        None, 500, 800, PER_MM, 0.0, "after", 0.95, {},
        umbrella_diameter=Value(2e3 * radius, 0.2),
        umbrella_height=Value(contact_mm + find_cap(age_ms, DROP_MM, SPEED), 0.2),
        expected=drop_2(contact_mm - SPEED * age_ms)[1],
    )  # fmt: skip


def test_the_expected_drop_dates_an_umbrella_that_spreads_unusually() -> None:
    for age in (2.0, 4.0, 6.0):
        seen = umbrella(age, factor=1.15)
        alone = find_age(replace(seen, expected=None), KNOWN)
        logged = find_age(seen, replace(KNOWN, drop_offset_m=(0.0, 5e-4)))
        assert logged.value == pytest.approx(age, abs=0.9)
        assert alone is None or logged.error < alone.error


def test_umbrellas_without_a_drop_in_the_air_are_dated_by_the_expected_drop() -> None:
    """Two that have spread: the light's times say how far apart they are, and only the log when drop 2 met the jet."""
    ages = (3.0, 6.0)
    series = [(umbrella(age, factor=1.2), 100.0 + age) for age in ages]
    bare = [(replace(one, expected=None), light) for one, light in series]
    known = replace(KNOWN, drop_offset_m=(0.0, 5e-4))
    dated, undated = date_series(series, known), date_series(bare, known)
    for age, one, other in zip(ages, dated, undated, strict=True):
        assert one.since_contact_ms.value == pytest.approx(age, abs=0.3)
        assert one.since_contact_ms.error < 0.8 * other.since_contact_ms.error


def test_an_umbrella_whose_top_is_not_clear_is_dated_less_exactly() -> None:
    known = replace(KNOWN, drop_offset_m=(0.0, 5e-4))

    def date(top_error: float) -> float:
        seen = [(umbrella(age, factor=1.2), 100.0 + age) for age in (3.0, 6.0)]
        vague = [
            (replace(one, umbrella_height=replace(one.umbrella_height, error=top_error)), light)
            for one, light in seen
        ]
        return date_series(vague, known)[0].since_contact_ms.error

    assert date(2.0) > 1.1 * date(0.2)


def falling(height_mm: float, off_mm: float) -> Measured:
    return Measured(
        None, 500, 800, PER_MM, 0.0, "before", 0.95, {},
        drop_height=Value(height_mm, 0.2), expected=drop_2(height_mm - off_mm, 6.0)[1],
    )  # fmt: skip


def test_a_drop_in_the_air_shows_how_far_the_rig_is_off() -> None:
    seen = [falling(30.0, 4.0), falling(22.0, 4.2), umbrella(3.0)]
    off_m, error_m = share_offset(seen, KNOWN)
    assert off_m == pytest.approx(4.1e-3, abs=2e-4) and error_m < 6e-4
    shared = replace(KNOWN, drop_offset_m=(off_m, error_m))
    moved = replace(shared, expected=drop_2(10.0)).find_expected()[1]
    assert moved.height_m == pytest.approx(0.01 + off_m) and moved.rig_error_m == error_m
    assert not lacks(seen[0], shared)
    assert lacks(falling(26.0, 9.0), shared), "it disagrees with the others: look again"
    assert share_offset([replace(seen[0], expected=None)], KNOWN) is None


def test_a_rig_file_without_any_error_counts_for_more_than_pictures() -> None:
    seen = falling(30.0, 4.0)
    assert seen.expected is not None
    exact = replace(seen, expected=replace(seen.expected, rig_error_m=0.0))
    off_m, _ = share_offset([exact], KNOWN)
    assert off_m == pytest.approx(0.0, abs=1e-6)


def test_umbrellas_alone_say_less() -> None:
    one = share_offset([umbrella(2.0)], KNOWN)
    drop = share_offset([falling(30.0, 0.0)], KNOWN)
    assert one is not None and drop is not None and one[1] > 2.0 * drop[1]
    assert np.isclose(one[0], 0.0, atol=2.0 * one[1])
