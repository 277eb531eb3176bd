"""The library of computed splashes: what it holds fits together, and scaling keeps the physics."""

from __future__ import annotations

import numpy as np
import pytest
from computed_surfaces import read_surface

from beamfall.physics.computed import LEAST_BODY, MESH, ComputedSplash, find_splash, list_splashes
from beamfall.physics.impact import impact_groups

SINGLES = [one for one in list_splashes() if one.half]
SECONDS = [one for one in list_splashes() if one.second is not None]
QUANTITIES = ("onset_s", "height_m", "rise_s")
TALL = [one.name for one in SINGLES if one.jet is not None and one.jet.height_m > 0.01]


def find_volume(curve: np.ndarray) -> float:
    """Of what a closed curve encloses, turned around the axis."""
    r, z = curve[:, 0], curve[:, 1]
    return float(abs(np.sum(np.pi / 4 * (r[1:] + r[:-1]) ** 2 * np.diff(z))))


def find_tip(splash: ComputedSplash, time_s: float) -> float:
    _, curves = read_surface(splash, time_s)
    least = LEAST_BODY * np.pi / 6 * splash.diameter_m**3
    tops = [curves[0][0, 1]]
    for curve in curves[1:]:
        on_axis = curve[:, 0].min() < 1e-6 and curve[:, 1].min() > 0
        if on_axis and find_volume(curve) >= least:
            tops.append(curve[:, 1].max())
    return float(max(tops))


def test_the_library_covers_what_photographers_use() -> None:
    coarse = [one for one in SINGLES if one.level == 9]
    halves = {half: [one for one in coarse if one.half == half] for half in ("fit", "judge")}
    assert min(len(one) for one in halves.values()) >= 20
    for half in halves.values():
        for values, low, high in (
            ([s.diameter_m for s in half], 3.0e-3, 5.0e-3),
            ([s.speed_m_s for s in half], 2.3, 4.0),
            ([s.liquid.viscosity_pa_s for s in half], 1.5e-3, 50e-3),
            ([s.liquid.surface_tension_n_m for s in half], 0.035, 0.070),
            ([s.depth_m for s in half], 5e-3, 25e-3),
        ):
            assert min(values) < low and max(values) > high
    cases = [{one.case for one in SINGLES if one.half == half} for half in halves]
    assert not cases[0] & cases[1]


def test_the_correction_for_the_mesh_is_the_middle_of_the_pairs() -> None:
    coarse = {one.case: one.jet for one in list_splashes() if one.level == 9 and one.jet}
    pairs = [
        [getattr(one.jet, name) / getattr(coarse[one.case], name) for name in QUANTITIES]
        for one in list_splashes()
        if one.level == 10 and one.jet
    ]
    assert len(pairs) >= 12
    assert np.median(pairs, axis=0) == pytest.approx(np.array(MESH), abs=0.01)


@pytest.mark.parametrize("splash", SECONDS, ids=lambda one: one.name)
def test_a_second_drop_is_there_before_it_meets_the_jet(splash: ComputedSplash) -> None:
    assert splash.second is not None
    when, curves = read_surface(splash, splash.second.placed_s + 0.5e-3)
    since = when - splash.second.placed_s
    assert since > 0.0
    middle = splash.second.height_m - splash.second.speed_m_s * since
    near = 0.4 * splash.diameter_m
    (drop,) = (
        curve
        for curve in curves[1:]
        if abs(curve[:, 1].mean() - middle) < near and curve[:, 0].min() < 1e-6
    )
    assert find_volume(drop) == pytest.approx(np.pi / 6 * splash.diameter_m**3, rel=0.05)


def test_the_tip_of_the_surface_is_that_of_the_path() -> None:
    # the path has a finer clock: where a body comes free or merges between two surfaces, they differ
    far = []
    for name in TALL:
        splash = find_splash(name)
        assert splash.jet is not None
        jet = splash.jet
        for share in (0.1, 0.3, 0.6, 0.9):
            when, _ = read_surface(splash, jet.onset_s + share * jet.rise_s)
            path = np.interp(
                when - jet.onset_s, np.arange(len(jet.tip_m)) * jet.tip_step_s, jet.tip_m
            )
            far.append(abs(find_tip(splash, when) - path) > 2.0 * splash.cell_m)
    assert np.mean(far) < 0.05


@pytest.mark.parametrize("scale", [0.85, 1.0, 1.1])
def test_a_scaled_splash_keeps_its_groups_and_moves_as_gravity_says(scale: float) -> None:
    one = find_splash("c03-9")
    other = one.scaled(scale)
    groups = [impact_groups(s.diameter_m, s.speed_m_s, s.liquid) for s in (one, other)]
    for name in ("weber", "reynolds", "ohnesorge", "froude", "bond"):
        assert getattr(groups[0], name) == pytest.approx(getattr(groups[1], name), rel=1e-9), name
    assert one.jet is not None and other.jet is not None
    assert other.jet.height_m / other.jet.onset_s**2 == pytest.approx(
        one.jet.height_m / one.jet.onset_s**2
    )
    when = one.jet.onset_s + 0.01
    assert find_tip(other, when * scale**0.5) == pytest.approx(scale * find_tip(one, when))
