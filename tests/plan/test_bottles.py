"""A liquid for each valve: in the rig file, plan, search, simulated rig, recipe and sheet."""

from __future__ import annotations

import hashlib
import json
import re
import tomllib
from dataclasses import replace

import numpy as np
import pytest
from out_of_range import refuses
from searching import seek
from tiers import in_full

from beamfall.errors import RigFileError
from beamfall.planning.belief import describe_basis
from beamfall.planning.collision import plan_collision
from beamfall.planning.draws import find_beam
from beamfall.planning.seek.answer import Shot
from beamfall.planning.seek.search import Search
from beamfall.planning.setting import make_setting
from beamfall.planning.unknowns import make_jet_prior
from beamfall.recipes.events import carry_over, read_events
from beamfall.recipes.recipe import Label, Recipe
from beamfall.recipes.sheet import list_tables
from beamfall.setup.rig import Rig, example_rig, parse_rig
from beamfall.setup.rig_sections import Bottle
from beamfall.setup.toml_write import rig_to_file, write_toml
from beamfall.sim.build import draw_model
from beamfall.sim.develop import render
from beamfall.sim.look import DYES
from beamfall.sim.picture import frame_action
from beamfall.sim.predicted import fire, make_middle_rig
from beamfall.sim.rig import SimulatedRig
from beamfall.sim.scene import make_scene

THICK = Bottle(parts=(("water", 1.0), ("glycerol", 1.0)), colour="red", valve="valve2")


def make_rig(*bottles: Bottle, drops: int = 2) -> Rig:
    """Two nozzles over one place that take turns; without a narrow path's length, viscosity sets the flow."""
    rig = example_rig()
    second = replace(rig.valves[0], output="valve2")
    return replace(rig, valves=(*rig.valves, second), bottles=bottles).with_aim(drops=drops)


def test_a_rig_file_keeps_a_bottle_through_file_and_log() -> None:
    rig = make_rig(THICK)
    text = write_toml(rig_to_file(rig))
    assert "[[bottle]]" in text
    assert parse_rig(tomllib.loads(text), "file") == rig
    assert Rig.from_dict(rig.to_dict()) == rig
    assert rig.find_liquid("valve2") is rig.bottles[0] and rig.find_liquid("valve1") is rig.liquid
    plain = make_rig()
    assert plain.digest != rig.digest
    # Rigs of older logs keep their name.
    older = {key: value for key, value in plain.to_dict().items() if value != []}
    del older["light"], older["liquid"]["colour"]
    text = json.dumps(older, sort_keys=True, separators=(",", ":"))
    assert plain.digest == hashlib.sha256(text.encode()).digest()[:16]


def test_a_bottle_without_its_valve_and_an_unknown_liquid_are_refused() -> None:
    content = tomllib.loads(write_toml(rig_to_file(example_rig())))
    with pytest.raises(RigFileError, match="bottle"):
        parse_rig({**content, "bottle": [{"valve": "valve2", "name": "milk"}]}, "file")
    with refuses("name of a liquid", "mercury") as caught:
        plan_collision(make_rig(Bottle(name="mercury", valve="valve2")))
    assert caught.value.key == "bottle of valve2.name"


def test_each_drop_is_of_its_own_liquid_and_the_plan_meets_all_the_same() -> None:
    plain, thick = make_rig(), make_rig(THICK)
    for rig in (plain, thick):
        splash = fire(make_middle_rig(rig), plan_collision(rig).sequence)
        assert splash.pictures[0].stage_s == pytest.approx(0.002, abs=0.002)
        first, second = splash.drops
        own = make_setting(rig, "valve2").liquid
        assert first.liquid == make_setting(rig).liquid and second.liquid == own
    # The thicker drop is the smaller one, in the rig and in the plan.
    assert second.diameter_m < 0.97 * first.diameter_m
    spacings = [plan_collision(rig).spacing_s or 0.0 for rig in (plain, thick)]
    assert abs(spacings[1] - spacings[0]) > 2e-4


def test_the_jet_is_of_the_dishs_liquid_and_its_drop_of_the_bottles() -> None:
    mine = make_rig(replace(THICK, valve="valve1"))
    plain = make_rig()
    setting = make_setting(mine)
    assert setting == make_setting(plain)
    assert (
        make_jet_prior(mine, setting).height_scale_m < make_jet_prior(plain, setting).height_scale_m
    )
    assert describe_basis(mine)["jet"] != describe_basis(plain)["jet"]
    assert describe_basis(make_rig(THICK)) == describe_basis(plain)


def test_a_search_with_two_liquids_finds_its_picture() -> None:
    rig = make_rig(THICK)
    found = 0
    for seed in (1, 2, 3):
        search = Search(rig, seed=seed)
        stages = seek(search, SimulatedRig(draw_model(rig, seed), seed), ages=True)
        stage_s = stages[search.best]
        found += search.found and stage_s is not None and abs(stage_s - 0.002) <= 0.001
    assert found == 3


@pytest.mark.parametrize("stage_s", [0.004, *in_full(-0.006)])  # a drop that falls, an umbrella
def test_the_picture_shows_the_bottles_colour_in_drop_and_umbrella_alone(stage_s: float) -> None:
    red = Bottle(name="water", colour="red", valve="valve2")
    images = []
    for rig in (make_rig(replace(red, colour="clear")), make_rig(red)):
        middle = make_middle_rig(rig)
        splash = fire(middle, plan_collision(rig, stage_s=stage_s).sequence)
        scene = make_scene(splash, middle.model)
        images.append(render(frame_action(scene), pixels=160, seed=1).astype(float))
    (column,) = scene["columns"]
    entry = (column["drops"] or column["umbrellas"])[0]
    assert entry[-1] == [*DYES["red"], 0.0]
    changed = np.abs(images[1] - images[0]).max(axis=2) > 8.0
    assert 10 < changed.sum() < 0.1 * changed.size
    lost = (images[0] - images[1])[changed].mean(axis=0)
    assert lost[2] > 2.0 * abs(lost[0])  # red keeps its red, and takes the blue away
    rows = np.flatnonzero(changed.any(axis=1))
    assert rows.max() < 0.6 * len(changed)  # neither the jet nor the dish


def test_recipe_and_sheet_name_both_liquids() -> None:
    rig = make_rig(THICK)
    plan = plan_collision(rig)
    beam = find_beam(rig, rig.valves[0])
    assert beam is not None
    spacing = plan.spacing_s or 0.0
    events, looks = read_events(rig, Shot((0.0, spacing), spacing + 0.35), 2)
    recipe = Recipe(Label(name="two"), rig, plan.sequence, events, looks)
    assert re.search(r"1 water : 1 glycerol\D*valve2", recipe.liquid)
    rows = dict(list_tables(recipe)["Valve valve2"])
    assert rows["mix, parts by volume"] == "1 water : 1 glycerol" and rows["colour"] == "red"
    assert "mix, parts by volume" not in dict(list_tables(recipe)["Valve valve1"])
    lost = carry_over(recipe, make_rig()).lost
    assert any(line.startswith("the liquid:") for line in lost)
    assert np.isfinite(carry_over(recipe, rig).plan.flash_delay_s)
