"""Plans and searches for the splash of one drop: crown, cavity, jet, and the droplet that falls back."""

from __future__ import annotations

import json
import re
from dataclasses import replace
from pathlib import Path

import pytest
from command_line import run_cli
from searching import draw_rig_file, draw_truth, seek
from tiers import in_full

from beamfall.errors import UserError
from beamfall.page.words import WITH_HEIGHTS, WITH_JET
from beamfall.physics.splash import MOMENTS
from beamfall.planning.make import make_plan
from beamfall.planning.seek.answer import Answer, Shot, explain_words, read_answer
from beamfall.planning.seek.search import Search
from beamfall.recipes.events import carry_over, find_start, read_events
from beamfall.recipes.recipe import Label, Recipe
from beamfall.setup.rig import EXAMPLE, Rig, example_rig
from beamfall.sim.build import draw_model
from beamfall.sim.collision import see_picture
from beamfall.sim.predicted import fire, make_middle_rig
from beamfall.sim.rig import SimulatedRig
from beamfall.sim.scene import make_scene


def aim_at(kind: str) -> Rig:
    return example_rig().with_aim(kind=kind, drops=1)


def make_recipe(rig: Rig) -> Recipe:
    """The values of what the plan fires on the middle rig."""
    plan = make_plan(rig)
    splash = fire(make_middle_rig(rig), plan.sequence)
    first_s = splash.drops[0].dark_s[1][0]
    shot = Shot((0.0,), first_s + plan.flash_delay_s, (first_s,))
    # The shot's clock starts at the opening.
    opened_s = plan.sequence.rows[0].delay_s
    shot = replace(shot, flash_s=shot.flash_s - opened_s, edges_s=(first_s - opened_s,))
    events, looks = read_events(rig, shot, 1)
    return Recipe(Label(name="one drop"), rig, plan.sequence, events, looks)


@pytest.mark.parametrize("kind", MOMENTS)
def test_the_plan_shows_its_moment_and_the_picture_says_so(kind: str) -> None:
    rig = aim_at(kind)
    splash = fire(make_middle_rig(rig), make_plan(rig).sequence)
    (picture,) = splash.pictures
    stage_s = picture.find_stage(kind)
    assert picture.shows == kind
    # The middle of the plan's rigs is not quite the rig in the middle of everything.
    assert stage_s == pytest.approx(0.0, abs=0.004)


def test_a_crown_is_planned_as_surely_as_its_impact() -> None:
    """Its moment is defined by the drop; taste adds nothing to what the rig leaves unknown."""
    intervals = make_plan(aim_at("crown")).intervals
    light, fall = (intervals[name] for name in ("flash_delay", "beam_to_surface"))
    assert 0.8 < (light.p95 - light.p5) / (fall.p95 - fall.p5) < 1.1


def test_one_splash_is_seen_from_its_fall_to_the_calm() -> None:
    rig = make_middle_rig(aim_at("jet"))
    plan = make_plan(aim_at("jet"))
    splash = fire(rig, plan.sequence)
    column, jet = splash.columns[0], splash.jet
    assert jet is not None
    impact, top = splash.drops[0].impact_s, jet.starts_s + jet.rise_s
    moments = {
        "nothing": impact - 0.1, "before": impact - 0.01, "crown": impact + 0.01,
        "cavity": jet.starts_s - 0.002, "jet": top, "droplet": top + 0.6 * jet.rise_s,
    }  # fmt: skip
    for word, when_s in moments.items():
        assert see_picture(rig.model, column, when_s).shows == word
    assert see_picture(rig.model, column, impact + 0.4).shows == "nothing"


def test_a_droplet_is_drawn_above_the_jet_that_falls_back() -> None:
    rig = make_middle_rig(aim_at("droplet"))
    splash = fire(rig, make_plan(aim_at("droplet")).sequence)
    (column,) = make_scene(splash, rig.model)["columns"]
    ((_, height_mm, radius_mm, speed),) = column["drops"]
    tip_mm = 1e3 * (splash.pictures[0].jet_m or 0.0)
    assert height_mm + radius_mm == pytest.approx(tip_mm, abs=0.01)
    assert column["jet_mm"] < height_mm - radius_mm and speed > 0.3


@pytest.mark.parametrize("number", [43, 49])
def test_a_cavity_that_its_crown_hides_until_the_jet_comes_is_found_between_crowns_and_jets(
    number: int,
) -> None:
    """On these rigs no picture of the cavity alone exists."""
    rig = draw_rig_file(number).with_aim(kind="cavity")
    search = Search(rig, seed=number)
    truth = SimulatedRig(draw_truth(rig, number, "same"), number)
    stage_s = seek(search, truth, ages=True)[search.best]
    assert search.found and search.shots <= 10
    assert stage_s is not None and abs(stage_s) <= search.near_s


@pytest.mark.parametrize("kind", ["crown", "cavity", *in_full("jet", "droplet")])
def test_the_moment_is_found_by_words(kind: str) -> None:
    rig = aim_at(kind)
    right, counts = 0, []
    for seed in range(1, 7):
        search = Search(rig, seed=seed)
        stages = seek(search, SimulatedRig(draw_model(rig, seed), seed), heights=True, ages=True)
        stage_s = stages[search.best]
        assert search.found
        right += stage_s is not None and abs(stage_s) <= search.near_s
        counts.append(len(stages))
    assert right >= 4 and sorted(counts)[-2] <= 12


def test_words_are_those_of_one_drop_and_no_others() -> None:
    words = explain_words(1)
    assert [word for word in words if word not in ("before", "nothing", "found", "black")] == [
        *MOMENTS
    ]
    assert read_answer("droplet", 1) == Answer("droplet")
    assert read_answer("jet jet 31 mm", 1) == read_answer("jet 31 mm", 1) == Answer("jet", 0.031)
    for text in ("after", "umbrella", "just after", "jet width 14 mm"):
        with pytest.raises(UserError):
            read_answer(text, 1)
    with pytest.raises(UserError):
        read_answer("crown", 2)


def test_a_high_droplet_asks_for_a_later_light_and_a_low_one_for_an_earlier_one() -> None:
    assert read_answer("high", 1) == read_answer("high droplet", 1)
    later = {}
    for said in ("high droplet", "low droplet"):
        search = Search(aim_at("droplet"), seed=1)
        proposal = search.propose()
        shot = Shot(proposal.times_s, 0.5 + proposal.delay_s, (0.5,))
        search.take(shot, read_answer(said, 1))
        later[said] = search.propose().delay_s - proposal.delay_s
    assert later["high droplet"] > 0.002 and later["low droplet"] < -0.002


def test_a_jet_that_falls_slowly_shows_its_droplet_later() -> None:
    rig = aim_at("droplet")
    stages = []
    for factor in (1.0, 1.2):
        model = make_middle_rig(rig).model
        slow = SimulatedRig(replace(model, jet=replace(model.jet, fall_factor=factor)), 1)
        splash = fire(slow, make_plan(rig).sequence)
        stages.append(splash.pictures[0].find_stage("droplet"))
        jet = splash.jet
    assert stages[0] is not None and stages[1] is not None and jet is not None
    assert stages[0] - stages[1] == pytest.approx(0.2 * (jet.height_m / 9.81) ** 0.5, rel=0.02)


def test_nobody_is_told_it_is_found_before_it_was_seen() -> None:
    """However sure the model is: somebody must have seen the crown."""
    search = Search(aim_at("crown"), sure=0.0, seed=1)
    for _ in range(3):
        proposal = search.propose()
        search.take(Shot(proposal.times_s, 0.5 + proposal.delay_s), Answer("before"))
        assert not search.found
    search.take(Shot(proposal.times_s, 0.5 + proposal.delay_s), Answer("crown"))
    assert search.found


@pytest.mark.parametrize(
    ("kind", "moment"), [("crown", 4.0), ("cavity", 0.85), ("jet", 1.0), ("droplet", 2.2)]
)
def test_a_recipe_of_one_drop_is_carried_over_and_sought(kind: str, moment: float) -> None:
    """Diameters travelled, a share of the time to the jet, and shares of the jet's rise."""
    rig = aim_at(kind)
    recipe = make_recipe(rig)
    assert recipe.events is not None and recipe.events.kind == kind
    assert recipe.events.moment == pytest.approx(moment, rel=0.15)
    assert carry_over(recipe, rig).plan.stage_s == pytest.approx(0.0, abs=0.004)
    higher = replace(rig, valves=(replace(rig.valves[0], height_m=0.68),))
    aimed, start = find_start(recipe, higher)
    search = Search(aimed, start=start, seed=4)
    stages = seek(search, SimulatedRig(draw_model(aimed, 4), 4), heights=True)
    stage_s = stages[search.best]
    assert search.found and stage_s is not None
    assert abs(stage_s - start.stage_s) <= 2.0 * search.near_s


def test_the_command_seeks_one_drop(tmp_path: Path) -> None:
    text = re.sub("kind = .*", 'kind = "jet"', EXAMPLE.read_text("utf-8"))
    file = tmp_path / "jet.toml"
    file.write_text(text.replace("drops = 2", "drops = 1"), encoding="utf-8")
    environment = {"BEAMFALL_LOG": str(tmp_path / "log.sqlite3")}
    done = run_cli(
        "seek", file, "--port", "sim?seed=3", "--heights", "--json", environment=environment
    )
    *shots, result = (json.loads(line) for line in done.stdout.splitlines())
    assert done.returncode == 0 and result["found"]
    assert result["spacing_ms"] is None and abs(result["stage_error_ms"]) <= 8.0
    assert {shot["spacing_ms"] for shot in shots} == {None}
    assert {shot["answer"] for shot in shots} <= set(explain_words(1))


@pytest.mark.parametrize(
    ("hint", "drops", "answer"),
    [(WITH_JET, 1, Answer("jet", 0.031)), (WITH_HEIGHTS, 2, Answer("before", 0.031, 0.042))],
)
def test_the_pages_example_of_heights_is_an_answer(hint: str, drops: int, answer: Answer) -> None:
    assert read_answer(hint.split(": ")[1], drops) == answer
