"""Recipes carried over to another rig: where the drops meet there, and what is lost on the way."""

from __future__ import annotations

import json
import shlex
from dataclasses import replace

import numpy as np
import pytest
from kept_recipes import Kept

from beamfall.planning.belief import Belief
from beamfall.planning.collision import draw_rigs
from beamfall.planning.result import CautionKind
from beamfall.planning.seek.search import Search
from beamfall.planning.seek.weighted_rigs import TALL
from beamfall.planning.setting import make_setting
from beamfall.planning.unknowns import NAMES
from beamfall.recipes.events import carry_over, find_start
from beamfall.recipes.spacing import choose_meeting, find_height, find_leeway, make_meeting
from beamfall.setup.rig import Rig
from beamfall.setup.toml_write import rig_to_file, write_toml


def lift(rig: Rig, by_m: float) -> Rig:
    """The rig with nozzle and beam higher."""
    return replace(
        rig,
        valves=tuple(replace(one, height_m=one.height_m + by_m) for one in rig.valves),
        beams=tuple(replace(one, height_m=one.height_m + by_m) for one in rig.beams),
    )


def test_on_a_higher_rig_the_drops_meet_as_they_did(kept: Kept) -> None:
    events = kept.recipe.events
    assert events is not None
    learned = learn(kept.recipe.rig, 0.03)  # so that the drops can meet as in the recipe
    own = carry_over(kept.recipe, kept.recipe.rig, learned=learned).plan
    assert own.spacing_s is not None and kept.recipe.spacing_s is not None
    assert own.stage_s == events.stage_s
    assert own.spacing_s == pytest.approx(kept.recipe.spacing_s, abs=0.006)
    higher = carry_over(kept.recipe, lift(kept.recipe.rig, 0.1), learned=learned).plan
    # The beam is 10 cm further from the surface, which drops of 3.2 m/s pass in about 30 ms.
    assert higher.flash_delay_s - own.flash_delay_s == pytest.approx(0.030, abs=0.008)


def test_no_warning_names_a_spacing_that_only_the_recipe_sets(kept: Kept) -> None:
    carried = carry_over(kept.recipe, kept.recipe.rig)
    # Without anything learned the drops meet lower than a plan would choose, so the spacing is short.
    (about,) = [one for one in carried.plan.warnings if one.kind is CautionKind.SPACING]
    assert about.values["found_s"] == carried.plan.spacing_s < about.values["low_s"]
    assert about.about == ()


def test_a_search_from_a_recipe_begins_at_its_spacing_carried_over(kept: Kept) -> None:
    rig, stage_s = lift(kept.recipe.rig, 0.1), 0.005
    assert kept.recipe.events is not None
    events = replace(
        kept.recipe.events, stage_s=stage_s, stage_low_s=0.0034, stage_high_s=stage_s + 0.0016
    )
    aimed, start = find_start(replace(kept.recipe, events=events), rig)
    assert (start.stage_s, start.near_s) == (stage_s, pytest.approx(0.0016))
    search = Search(aimed, start=start)
    proposal = search.propose()
    assert proposal.spacing_s == start.spacing_s != Search(rig).propose().spacing_s
    assert (search.wanted_s, search.near_s) == (start.stage_s, start.near_s)


def learn(rig: Rig, share: float) -> Belief:
    """What is known of a rig if everything is known so much better than from its file."""
    belief = Belief("board", "sim", simulated=True)
    return belief.add_search(
        rig, np.zeros(len(NAMES)), share**2 * np.eye(len(NAMES)), answers=5, found=True, certainty=0.95,
        spacing_s=None, fresh=True,
    )  # fmt: skip


def test_the_drops_meet_lower_where_nobody_knows_how_high_the_jet_goes(kept: Kept) -> None:
    rig, events = kept.recipe.rig, kept.recipe.events
    assert events is not None
    late = replace(events, moment=0.9, moment_low=0.9, moment_high=0.9)
    rigs = draw_rigs(rig, make_setting(rig), 2000, None)
    own, chosen = make_meeting(rigs, late), choose_meeting(rigs, late)
    contacts = [rigs.find_contact((0.0, one.spacing_s)) for one in (own, chosen)]
    edge = rigs.drop(2).latency_s + rigs.drop(2).to_edge_s
    spreads = [np.nanstd(when - one.spacing_s - edge)
               for one, (when, _) in zip((own, chosen), contacts, strict=True)]  # fmt: skip
    assert chosen.moment < own.moment == 0.9
    assert spreads[1] < 0.85 * spreads[0]
    heights = [np.nanmedian(height / rigs.height_m) for _, height in contacts]
    assert heights[1] == pytest.approx(heights[0] - find_leeway(rigs), abs=0.06)
    assert find_leeway(rigs) == pytest.approx(
        0.3, abs=0.04
    )  # computed jets differ by 25 % from the law
    assert heights[1] > TALL - 0.02


def test_the_drops_meet_as_in_the_recipe_where_the_jet_is_known(kept: Kept) -> None:
    rig, events = kept.recipe.rig, kept.recipe.events
    assert events is not None
    late = replace(events, moment=0.8, moment_low=0.4, moment_high=1.3)
    recipe = replace(kept.recipe, events=late)
    carried = [carry_over(recipe, rig, learned=learn(rig, share)) for share in (0.03, 0.5)]
    chances = [one.chance for one in (*carried, carry_over(recipe, rig))]
    assert chances == sorted(chances, reverse=True) and chances[0] > 0.9 and 0.5 < chances[2] < 0.85
    assert carried[0].lower < 0.02 < 0.1 < carried[1].lower < carry_over(recipe, rig).lower
    known = draw_rigs(rig, make_setting(rig), 2000, learn(rig, 0.03))
    assert find_leeway(known) < 0.05
    own = make_meeting(known, late)
    assert carried[0].plan.spacing_s == pytest.approx(own.spacing_s, abs=0.002)
    # and what the first picture's sureness costs is said
    assert len(carried[1].lost) == len(carried[0].lost) + 1


def test_a_recipe_whose_drops_meet_low_is_not_met_lower_still(kept: Kept) -> None:
    rig, events = kept.recipe.rig, kept.recipe.events
    assert events is not None
    low = replace(events, moment=0.3, moment_low=0.1, moment_high=0.6)
    rigs = draw_rigs(rig, make_setting(rig), 2000, None)
    height = find_height(rigs, 0.3)
    assert height < TALL
    assert find_height(rigs, choose_meeting(rigs, low).moment) > height - 0.001


def test_the_command_that_comes_closer_is_one_that_runs(kept: Kept, shared: bytes) -> None:
    file = kept.folder / "in.zip"
    file.write_bytes(shared)
    said = kept.beamfall("recipe", "use", file, "--rig", kept.rig)
    command = next(line for line in said.splitlines() if line.startswith("to get closer"))
    words = shlex.split(command[command.index("beamfall ") :])[1:]
    carried = json.loads(kept.beamfall("recipe", "use", file, "--rig", kept.rig, "--json"))
    lines = kept.beamfall(*words, "--port", "sim?seed=3", "--json", "--shots", 1, status=1)
    first = json.loads(lines.splitlines()[0])
    assert first["spacing_ms"] == pytest.approx(carried["plan"]["planned"]["spacing"], abs=0.01)


def test_with_exact_the_drops_meet_at_the_recipes_own_moment(kept: Kept, shared: bytes) -> None:
    file = kept.folder / "in.zip"
    file.write_bytes(shared)
    events = kept.recipe.events
    assert events is not None
    rigs = draw_rigs(kept.recipe.rig, make_setting(kept.recipe.rig), 4000, None)
    own = make_meeting(rigs, events)
    options = ("recipe", "use", file, "--json", "--rig")
    # of a rig that nothing has been learned about
    alone = kept.folder / "alone.toml"
    alone.write_text(write_toml(rig_to_file(kept.recipe.rig)))
    usual, exact = (
        json.loads(kept.beamfall(*options, alone, *more))["plan"]["planned"]["spacing"]
        for more in ((), ("--exact",))
    )
    assert exact == pytest.approx(1e3 * own.spacing_s, abs=0.5)
    assert usual < exact - 5.0
    start, exactly = (
        find_start(kept.recipe, kept.recipe.rig, exact=one)[1] for one in (False, True)
    )
    assert exactly.spacing_s == pytest.approx(own.spacing_s, abs=5e-4)
    assert start.spacing_s is not None and start.spacing_s < own.spacing_s - 0.005
    # without a recipe it means nothing
    kept.beamfall("seek", alone, "--exact", "--port", "sim", status=2)


def test_what_cannot_be_carried_over_is_named(kept: Kept) -> None:
    rig = kept.recipe.rig
    here = replace(rig, beams=(), liquid=replace(rig.liquid, parts=(("water", 3.0), ("milk", 1.0))))
    carried = carry_over(kept.recipe, here)
    assert carried.plan.anchor.count == 0
    assert len(carried.lost) == len(carry_over(kept.recipe, rig).lost) + 2
