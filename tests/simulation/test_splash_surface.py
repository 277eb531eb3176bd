"""The simulated picture's surface against the computed splashes it is taken from."""

from __future__ import annotations

import numpy as np
import pytest
from computed_surfaces import read_surface
from tiers import in_full

from beamfall.physics.computed import list_splashes
from beamfall.sim.liquid_shapes import LOWEST_MM, STEP_MM, make_solids
from beamfall.sim.splash_surface import REACH_MM, find_surface

SINGLE = [run for run in list_splashes() if run.jet is not None]
TALL = [run for run in SINGLE if run.jet.height_m > 0.01][::4]


def make_scene_of(run, since_s: float, tip_m: float) -> dict:
    """What a rig that is exactly this run would show."""
    liquid, jet = run.liquid, run.jet
    return {
        "frame_mm": [60.0, 80.0, 1e3 * run.depth_m],
        "liquid": [
            liquid.density_kg_m3,
            1e3 * liquid.viscosity_pa_s,
            1e3 * liquid.surface_tension_n_m,
        ],
        "columns": [
            {
                "x_mm": 0.0,
                "diameter_mm": 1e3 * run.diameter_m,
                "speed_m_s": run.speed_m_s,
                "since_ms": 1e3 * since_s,
                "jet_mm": 1e3 * tip_m or None,
                "jet_course": [1e3 * jet.onset_s, 1e3 * jet.rise_s, 1e3 * jet.height_m],
                "umbrellas": [],
                "drops": [],
            }
        ],
    }


@pytest.mark.parametrize("run", TALL, ids=lambda run: run.name)
def test_a_rig_that_is_a_computed_run_shows_its_cavity_and_crown(run) -> None:
    finest = max(one.level for one in SINGLE if one.case == run.case)
    own = next(one for one in SINGLE if one.case == run.case and one.level == finest)
    scene = make_scene_of(own, 0.4 * own.jet.cavity_s, 0.0)
    surface = find_surface(scene, scene["columns"][0])
    assert surface is not None and surface.crown is not None
    _, curves = read_surface(own, 0.4 * own.jet.cavity_s)
    near = curves[0][curves[0][:, 0] < 1e-3 * (REACH_MM - 7.0)]
    assert surface.curve[: len(near)] == pytest.approx(1e3 * near, abs=1e-6)
    assert surface.crown.height == pytest.approx(1e3 * near[:, 1].max(), abs=0.3)


@pytest.mark.parametrize("run", TALL, ids=lambda run: run.name)
@pytest.mark.parametrize("share", [0.95, *in_full(0.15, 0.5)])
def test_the_jet_ends_where_the_scene_says(run, share) -> None:
    tip_m = share * run.jet.height_m
    for since_s in (run.jet.onset_s + 0.4 * run.jet.rise_s, run.jet.onset_s + 1.2 * run.jet.rise_s):
        scene = make_scene_of(run, since_s, tip_m)
        (body,) = make_solids(scene).bodies
        near = body.distance[:, : round(600.0 * run.diameter_m / STEP_MM)]
        top = LOWEST_MM + STEP_MM * np.flatnonzero((near < 0.0).any(axis=1)).max()
        assert top == pytest.approx(1e3 * tip_m, abs=0.35)
        assert float(body.widest[-1]) == 0.0


def test_a_scene_of_an_older_log_is_drawn_too() -> None:
    scene = make_scene_of(TALL[0], TALL[0].jet.onset_s + 0.5 * TALL[0].jet.rise_s, 0.012)
    del scene["liquid"], scene["columns"][0]["jet_course"]
    surface = find_surface(scene, scene["columns"][0])
    assert surface is not None
    assert surface.curve[:, 1].max() == pytest.approx(12.0, abs=0.01)


def test_a_jet_that_hardly_rises_is_drawn_while_it_falls() -> None:
    run = min(SINGLE, key=lambda one: one.jet.height_m)
    tip_m = 1e-4
    scene = make_scene_of(run, run.jet.onset_s + 2.0 * run.jet.rise_s, tip_m)
    surface = find_surface(scene, scene["columns"][0])
    assert surface is not None
    assert surface.curve[:, 1].max() == pytest.approx(1e3 * tip_m, abs=0.01)


def test_before_the_impact_and_long_after_the_surface_is_calm() -> None:
    for since_s in (0.0, 1.0):
        scene = make_scene_of(TALL[0], since_s, 0.0)
        assert find_surface(scene, scene["columns"][0]) is None
