"""The guided rig: answers in people's units make a rig file that plans; bad answers change nothing."""

from __future__ import annotations

import functools
import io
from pathlib import Path

import pytest

from beamfall.cli import main
from beamfall.errors import UserError
from beamfall.guide import readings
from beamfall.guide.kitchen import read_liquid
from beamfall.guide.questions import HAS_CAMERA, QUESTIONS
from beamfall.guide.remarks import check_file, describe_answer, find_line
from beamfall.guide.walk import Walk
from beamfall.planning.make import make_plan
from beamfall.setup.rig import load_rig
from beamfall.setup.rig_tables import list_all_keys


@functools.cache
def walk_through(**answers: str) -> Walk:
    walk = Walk("mine")
    while (question := walk.question) is not None:
        walk = walk.answer(
            question.key, answers.get(question.key.replace("[1].", "_").replace(".", "_"), "")
        )
    return walk


def test_every_question_is_about_a_key_of_the_rig_file() -> None:
    keys = {f"{one.table}.{one.key}" for one in list_all_keys()}
    asked = {one.key.replace("[1]", "") for one in QUESTIONS} - {HAS_CAMERA, "liquid"}
    assert asked <= keys


def test_pressing_enter_throughout_makes_a_rig_that_plans(tmp_path: Path) -> None:
    file = tmp_path / "mine.toml"
    file.write_text(walk_through().make_file(), encoding="utf-8")
    rig = load_rig(file)
    assert rig == walk_through().make_rig()
    assert make_plan(rig).chance > 0.9
    assert not [doubt for doubt in check_file(file) if doubt.wrong]


def test_answers_reach_the_file_in_si(tmp_path: Path) -> None:
    walk = walk_through(
        valve_height="24 in", valve_bore="2,5 mm", valve_outer_diameter="none", liquid="9 water, 1 glycerol",
        flash_duration="1/32", camera_pixel="36 mm / 6000 px", camera_magnification="1:3", camera_aperture="f/11",
        aim_kind="jet",
    )  # fmt: skip
    file = tmp_path / "mine.toml"
    file.write_text(walk.make_file(), encoding="utf-8")
    rig = load_rig(file)
    assert rig.valves[0].height_m == pytest.approx(0.6096)
    assert rig.valves[0].bore_m == pytest.approx(0.0025)
    assert rig.valves[0].outer_diameter_m is None
    assert dict(rig.liquid.parts) == {"water": 9.0, "glycerol": 1.0}
    assert rig.camera is not None
    assert (rig.camera.pixel_m, rig.camera.magnification, rig.camera.aperture) == pytest.approx(
        (6e-6, 0.3333, 11.0)
    )
    assert rig.aim.kind == "jet"


def test_without_a_camera_its_questions_are_left_out() -> None:
    walk = walk_through(has_camera="no")
    assert walk.make_rig().camera is None
    assert not [key for key in walk.answers if key.startswith("camera.")]


@pytest.mark.parametrize(
    ("key", "text"),
    [
        ("valve[1].height", "60"),  # no unit
        ("valve[1].bore", "62 cm"),
        ("liquid", "unobtainium"),
        ("liquid", "milk and water"),  # how much of each?
        ("liquid", "3 water, 1 goat"),
        ("liquid", "3 water, much glycerol"),
        ("liquid", "some xanthan"),
        ("liquid", "9 tsp xanthan in 100 ml"),
        ("liquid", "1 tsp guar in 0 ml"),
        ("valve[1].opening", "200 ms"),  # a stream
        ("beam[1].height", "70 cm"),  # above the nozzle
        ("flash[1].duration", "1/9999"),
        ("camera.magnification", "100 mm lens at 30 cm"),  # nearer than it focuses
        ("camera.pixel", "36 mm / 60 px"),
        ("aim.kind", "picture"),
        ("no.such", "1"),
    ],
)
def test_an_answer_that_does_not_fit_is_refused(key: str, text: str) -> None:
    with pytest.raises(UserError):
        walk_through().answer(key, text)


@pytest.mark.parametrize(
    ("text", "base", "grams"),
    [
        ("water with half a teaspoon of xanthan in a litre", {"name": "water"}, {"xanthan": 0.15}),
        ("1 tsp guar in 1 l of milk", {"name": "milk"}, {"guar": 0.3}),
        ("½ tsp xanthan gum per 500 ml", {"name": "water"}, {"xanthan": 0.3}),
        ("3 water, 1 glycerol and 2,5 g of guar in 1 litre", {"parts": {"water": 3, "glycerol": 1}}, {"guar": 0.25}),
        ("two tablespoons of sugar in a quarter litre", {"name": "water"}, {"sugar": 9.6}),
    ],
)  # fmt: skip
def test_a_liquid_is_read_in_spoons(
    text: str, base: dict[str, object], grams: dict[str, float]
) -> None:
    """A level teaspoon holds 3 g of gum or 4 g of sugar, a tablespoon three of them (common practice, no source)."""
    assert read_liquid(text) == {**base, "grams": grams}
    liquid = walk_through(liquid=text).make_rig().liquid
    assert dict(liquid.grams) == grams


@pytest.mark.parametrize(
    ("text", "found"),
    [
        ("skimmed milk", {"name": "milk"}),
        ("Tap water", {"name": "water"}),
        ("water with a few drops of food colouring", {"name": "water"}),
        ("milk and 3 drops of dye", {"name": "milk"}),
        ("dye", {"name": "dye"}),
        ("1 water 2 milk", {"parts": {"water": 1, "milk": 2}}),
        ("half milk half water", {"parts": {"milk": 0.5, "water": 0.5}}),
    ],
)
def test_a_liquid_is_read_as_people_say_it(text: str, found: dict[str, object]) -> None:
    assert read_liquid(text) == found


def test_a_misspelt_liquid_gets_the_likely_one() -> None:
    with pytest.raises(UserError, match="milk"):
        read_liquid("mlik")


def test_a_liquid_that_is_not_water_is_described() -> None:
    """Whole milk at 20 °C: 52.4 mN/m by the formula of `physics.liquids.milk`, and usual values for the rest."""
    described = describe_answer("liquid", walk_through(liquid="milk").make_rig())
    assert "52 mN/m" in described[0] and "typical values" in described[1]
    assert describe_answer("liquid", walk_through().make_rig()) == []


def test_what_follows_from_an_answer_rests_on_answers() -> None:
    """No remark takes a measure, the height of the bottle's air say, that is asked only later."""
    order = [question.key for question in QUESTIONS]
    assert order.index("liquid") < order.index("valve[1].bore")
    (said,) = describe_answer("valve[1].head", walk_through(valve_head="8 cm").make_rig())
    assert "8 cm" in said
    assert describe_answer("valve[1].bore", walk_through().make_rig()) == []


def test_back_asks_the_last_question_again() -> None:
    first, second = (question.key for question in QUESTIONS[:2])
    walk = Walk("mine").answer(first, "milk").answer(second, "21 °C")
    again = walk.back()
    assert again.question is not None and again.question.key == second
    assert dict(again.answers) == {first: "milk"}


def test_the_suggested_beam_and_opening_follow_the_nozzle() -> None:
    walk = Walk("mine").answer("valve[1].height", "50 cm").answer("valve[1].bore", "3 mm")
    suggested = {one.key: walk.suggest(one) for one in QUESTIONS}
    assert suggested["beam[1].height"] == "39 cm"
    # A drop of 47 µL (Harkins & Brown) through 3 mm: 6.7 mm of liquid, which 5 cm of head push out
    # of 20 mm in about √(2·6.7·20/(9.81·50)) = 23 ms, and in a little more with the losses.
    assert 23.0 < float(suggested["valve[1].opening"].removesuffix(" ms")) < 28.0


def test_the_suggested_latency_ends_after_the_valve_has_closed() -> None:
    for opening in ("13 ms", "26 ms", "40 ms"):
        valve = walk_through(valve_opening=opening).make_rig().valves[0]
        assert valve.opening_s < valve.latency_s < valve.opening_s + 0.03


def test_flow_through_a_bore_is_torricellis() -> None:
    # 0.61 · π/4 · (3 mm)² · √(2 · 9.81 · 0.1) = 6.04 µL/ms: Torricelli, any textbook of hydraulics.
    # 20 mm of narrow path take 3 % more (Hagen-Poiseuille).
    rig = walk_through(valve_bore="3 mm").make_rig()
    (text,) = describe_answer("valve[1].head", rig)
    assert "5.9 µL" in text


def test_thin_lens_agrees_with_its_own_equation() -> None:
    # From subject to sensor d = f·(2 + m + 1/m): 100 mm at life size is 40 cm.
    assert readings.read_magnification("100 mm lens at 40 cm", 4e-6) == pytest.approx(1.0, abs=0.01)
    assert readings.read_magnification("100 mm lens at 60 cm", 4e-6) == pytest.approx(
        0.268, abs=0.001
    )
    assert readings.read_magnification("50 mm lens, 25 mm rings", 4e-6) == 0.5
    assert readings.read_magnification("40 mm over 5000 px", 4e-6) == 0.5


def test_a_stopped_walk_resumes_where_it_was(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    file = tmp_path / "mine.toml"
    monkeypatch.setattr("sys.stdin", io.StringIO("milk\n21 °C\n55 cm\nnonsense\n3 mm\n"))
    assert main(["rig", "new", str(file)]) == 130
    assert not file.exists()
    assert main(["rig", "new", str(file), "--accept"]) == 0
    rig = load_rig(file)
    assert (rig.valves[0].height_m, rig.valves[0].bore_m) == (0.55, 0.003)
    assert rig.liquid.name == "milk"
    assert sorted(tmp_path.iterdir()) == [file]


def test_enter_after_a_bare_number_takes_it_with_its_unit(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    file = tmp_path / "mine.toml"
    monkeypatch.setattr("sys.stdin", io.StringIO("water\n20 °C\n58\n\n"))
    assert main(["rig", "new", str(file)]) == 130
    assert main(["rig", "new", str(file), "--accept"]) == 0
    assert load_rig(file).valves[0].height_m == 0.58


def test_an_umbrella_is_what_a_collision_makes() -> None:
    assert walk_through(aim_kind="Umbrella").make_rig().aim.kind == "collision"


def test_a_rig_file_is_not_overwritten(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    file = tmp_path / "mine.toml"
    file.write_text("mine", encoding="utf-8")
    assert main(["rig", "new", str(file), "--accept"]) == 2
    assert file.read_text(encoding="utf-8") == "mine"
    assert (
        main(["rig", "new", str(file), "--accept", "--replace", "--set", "valve[1].height=45 cm"])
        == 0
    )
    assert load_rig(file).valves[0].height_m == 0.45


def test_check_names_the_line_of_what_is_wrong(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    file = tmp_path / "mine.toml"
    text = walk_through().make_file().replace('height = "47 cm"', 'height = "90 cm"')
    file.write_text(text, encoding="utf-8")
    (doubt,) = check_file(file)
    assert doubt.wrong
    assert '"90 cm"' in text.splitlines()[doubt.line - 1]
    assert main(["rig", "check", str(file)]) == 2


@pytest.mark.parametrize(("latency", "doubted"), [("10 ms", True), ("60 ms", False)])
def test_check_doubts_a_latency_that_ends_before_the_valve_has_closed(
    tmp_path: Path, latency: str, doubted: bool
) -> None:
    file = tmp_path / "mine.toml"
    walk = walk_through(valve_opening="40 ms", valve_latency=latency)
    file.write_text(walk.make_file(), encoding="utf-8")
    found = [one for one in check_file(file) if one.key == "valve[1].latency"]
    assert [one.wrong for one in found] == [False] * len(found)
    assert any("40.0 ms" in one.text for one in found) == doubted


def test_check_says_that_a_sequence_file_is_no_rig_file(tmp_path: Path) -> None:
    file = tmp_path / "mine.toml"
    file.write_text(
        '[[row]]\noutput = "valve1"\ndelay = "0 ms"\nwidth = "13 ms"\n', encoding="utf-8"
    )
    (doubt,) = check_file(file)
    assert doubt.wrong and "sequence file" in doubt.text


def test_lines_of_the_second_table_and_of_missing_keys() -> None:
    lines = [
        'name = "a"',
        "[[valve]]",
        'height = "1 m"',
        "[[valve]]  # the other",
        "",
        'height = "2 m"',
        "[dish]",
    ]
    assert [find_line(lines, key) for key in ("valve[2].height", "valve.height", "valve[1].bore", "dish.depth")] == [
        6, 3, 2, 7,
    ]  # fmt: skip
    assert (
        find_line(lines, "name"),
        find_line(lines, "flash[1].duration"),
        find_line(lines, ""),
    ) == (1, 0, 0)
