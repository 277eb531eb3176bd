"""The fall of a drop against published speeds and independent integrations."""

from __future__ import annotations

import math
import subprocess
import sys
from collections.abc import Callable
from functools import lru_cache

import numpy as np
import pytest
from fluids import drag as fluids_drag
from hypothesis import given, settings
from hypothesis import strategies as st
from out_of_range import ANY, Bounds, refuses

from beamfall.errors import PhysicsRangeError
from beamfall.physics.air import Air
from beamfall.physics.drag import drag_coefficient
from beamfall.physics.fall import Conditions, fall, terminal_speed
from beamfall.physics.fall_table import DropFalls

GRAVITY, WATER = 9.80665, 998.207
# CIPM-2007 dry air and Lemmon & Jacobsen viscosity at 20 °C, 101,325 Pa
AIR = Air(1.20458, 1.82057e-5)
IN_AIR = Conditions(air=AIR)
REDUCED = GRAVITY * (1 - AIR.density_kg_m3 / WATER)
HEIGHTS_M = (0.1, 0.2, 0.3, 0.5, 0.7, 1.0)

heights = st.floats(0.001, 5.0)
diameters = st.floats(1e-3, 5.5e-3)
speeds = st.floats(0.0, 2.0)


@lru_cache
def integrate_sphere(diameter_m: float) -> dict[float, float]:
    """Fall times of a rigid sphere: drag by fluids 1.3.1, integrated by scipy."""
    from scipy.integrate import solve_ivp

    ratio = AIR.density_kg_m3 / WATER

    def derivative(_: float, state: np.ndarray) -> list[float]:
        v = float(state[1])
        reynolds = max(AIR.density_kg_m3 * v * diameter_m / AIR.viscosity_pa_s, 1e-9)
        return [v, REDUCED - 0.75 * ratio / diameter_m * fluids_drag.drag_sphere(reynolds) * v * v]

    events = [lambda _, y, h=h: y[0] - h for h in HEIGHTS_M]
    found = solve_ivp(
        derivative, (0, 0.8), [0.0, 0.0], events=events, rtol=1e-8, atol=1e-11, max_step=0.02
    )
    return {h: float(t[0]) for h, t in zip(HEIGHTS_M, found.t_events, strict=True)}


# Gunn & Kinzer 1949, J. Meteorology 6:243 (second-hand): mm -> m/s. Their 1 mm drops fall 1.6 %
# faster than the sphere law of fluids 1.3.1; a drop that only flattens cannot follow them there.
@pytest.mark.parametrize(
    ("diameter_mm", "speed_m_s", "tolerance"),
    [(1, 4.03, 0.025), (2, 6.49, 0.006), (3, 8.06, 0.006), (4, 8.83, 0.006), (5, 9.09, 0.006)],
)
def test_terminal_speed_meets_gunn_and_kinzer(
    diameter_mm: float, speed_m_s: float, tolerance: float
) -> None:
    assert terminal_speed(diameter_mm * 1e-3, IN_AIR) == pytest.approx(speed_m_s, rel=tolerance)


@pytest.mark.parametrize("diameter_mm", [1.5, 2.5, 3.5, 4.5, 5.5])
def test_terminal_speed_meets_the_fit_of_atlas(diameter_mm: float) -> None:
    # Atlas et al. 1973: 9.65 − 10.3·exp(−0.6·D), itself within 2 % of Gunn & Kinzer
    fit = 9.65 - 10.3 * math.exp(-0.6 * diameter_mm)
    assert terminal_speed(diameter_mm * 1e-3, IN_AIR) == pytest.approx(fit, rel=0.025)


@pytest.mark.parametrize("diameter_mm", [1.0, 2.0, 3.0, 4.0, 5.0])
def test_no_drop_outruns_a_rigid_sphere(diameter_mm: float) -> None:
    # fluids 1.3.1 v_terminal, an upper bound
    sphere = fluids_drag.v_terminal(
        D=diameter_mm * 1e-3, rhop=WATER, rho=AIR.density_kg_m3, mu=AIR.viscosity_pa_s
    )
    assert terminal_speed(diameter_mm * 1e-3, IN_AIR) < sphere


@pytest.mark.parametrize("reynolds", [50.0, 100.0, 500.0, 1000.0, 3000.0])
def test_without_flattening_the_drag_is_that_of_a_sphere(reynolds: float) -> None:
    # standard drag curve of Clift, Grace & Weber 1978 in fluids 1.3.1: another correlation
    other = fluids_drag.drag_sphere(reynolds, Method="Clift")
    assert drag_coefficient(reynolds, 0.0) == pytest.approx(other, rel=0.015)


@pytest.mark.parametrize("height_m", HEIGHTS_M)
def test_4_mm_lies_within_0_3_ms_of_both_models(height_m: float) -> None:
    found = fall(height_m, 4e-3, IN_AIR).time_s
    # constant drag coefficient at Gunn & Kinzer's 8.83 m/s: t = vt/g'·arcosh(exp(g'h/vt²))
    closed = 8.83 / REDUCED * math.acosh(math.exp(REDUCED * height_m / 8.83**2))
    assert found == pytest.approx(closed, abs=0.3e-3)
    assert found == pytest.approx(integrate_sphere(4e-3)[height_m], abs=0.3e-3)


@pytest.mark.parametrize(
    ("diameter_mm", "bound_ms"), [(1.0, 0.3), (1.5, 0.3), (2.0, 0.3), (3.0, 0.6), (5.5, 0.6)]
)
def test_other_drops_stay_near_integrated_sphere_drag(diameter_mm: float, bound_ms: float) -> None:
    sphere = integrate_sphere(diameter_mm * 1e-3)
    for height_m in HEIGHTS_M:
        found = fall(height_m, diameter_mm * 1e-3, IN_AIR).time_s
        assert found == pytest.approx(sphere[height_m], abs=bound_ms * 1e-3)
        assert found >= sphere[height_m] - 2e-6  # a flattened drop is never faster


@pytest.mark.parametrize(("height_m", "expected_ms"), [(0.1, 143.19), (0.3, 249.06), (0.5, 322.88)])
def test_published_times_at_4_mm(height_m: float, expected_ms: float) -> None:
    # computed: closed form with Gunn & Kinzer's terminal speed
    assert fall(height_m, 4e-3, IN_AIR).time_s * 1e3 == pytest.approx(expected_ms, abs=0.3)


def test_published_time_at_2_mm() -> None:
    # computed with fluids 1.3.1, integrated: 328.70 ms at 0.5 m
    assert fall(0.5, 2e-3, IN_AIR).time_s * 1e3 == pytest.approx(328.70, abs=0.3)


def test_a_drop_with_an_initial_speed_falls_as_scipy_says() -> None:
    from scipy.integrate import solve_ivp

    d, start, height = 2.5e-3, 0.7, 0.4

    def derivative(_: float, state: np.ndarray) -> list[float]:
        v = float(state[1])
        reynolds = AIR.density_kg_m3 * v * d / AIR.viscosity_pa_s
        weber = AIR.density_kg_m3 * v * v * d / 0.072736
        drag = 0.75 * AIR.density_kg_m3 / WATER / d * drag_coefficient(reynolds, weber) * v * v
        return [v, REDUCED - drag]

    # scipy 1.17.1 RK45 on the same equation in time instead of √height
    found = solve_ivp(
        derivative, (0, 1), [0.0, start], rtol=1e-10, atol=1e-12,
        events=lambda _, y: y[0] - height,
    )  # fmt: skip
    ours = fall(height, d, IN_AIR, initial_speed_m_s=start)
    assert ours.time_s == pytest.approx(float(found.t_events[0][0]), abs=1e-6)
    assert ours.speed_m_s == pytest.approx(float(found.y_events[0][0][1]), abs=1e-4)


def test_arrays_agree_with_single_falls() -> None:
    rng = np.random.default_rng(11)
    drops, sizes = rng.uniform(0.0, 1.2, 400), rng.uniform(1e-3, 5.5e-3, 400)
    starts = np.where(rng.random(400) < 0.3, 0.0, rng.uniform(0.0, 2.0, 400))
    # a soapy, denser liquid in thin mountain air, so that every condition matters
    conditions = Conditions(1150.0, 0.035, Air(0.95, 1.78e-5), 9.79)
    many = DropFalls(sizes, starts, conditions).fall(drops)
    for i in range(400):
        one = fall(drops[i], sizes[i], conditions, initial_speed_m_s=starts[i])
        assert many.time_s[i] == pytest.approx(one.time_s, abs=4e-6)
        assert many.speed_m_s[i] == pytest.approx(one.speed_m_s, abs=1e-4)


def test_arrays_from_high_up_agree_within_20_us() -> None:
    rng = np.random.default_rng(12)
    drops, sizes = rng.uniform(1.2, 5.0, 200), rng.uniform(1e-3, 5.5e-3, 200)
    many = DropFalls(sizes, np.zeros(200)).fall(drops)
    for i in range(200):
        assert many.time_s[i] == pytest.approx(fall(drops[i], sizes[i]).time_s, abs=20e-6)


def test_falls_that_were_asked_for_other_heights_stay_the_same() -> None:
    rng = np.random.default_rng(13)
    sizes = rng.uniform(1e-3, 5.5e-3, 50)
    for starts in (np.zeros(50), rng.uniform(0.0, 2.0, 50)):
        falls = DropFalls(sizes, starts)
        for top in (0.5, 1.2, 3.0, 0.5):
            heights = rng.uniform(0.0, top, 50)
            one, other = falls.fall(heights), DropFalls(sizes, starts).fall(heights)
            assert one.time_s == pytest.approx(other.time_s, abs=1e-12)
            assert one.speed_m_s == pytest.approx(other.speed_m_s, abs=1e-12)
        with pytest.raises(PhysicsRangeError):
            falls.fall(np.full(50, 5.01))


def test_no_fall_takes_no_time_in_arrays_either() -> None:
    falls = DropFalls(np.full(1, 4e-3), np.full(1, 0.3))
    assert falls.fall(np.zeros(1)).time_s[0] == pytest.approx(0, abs=1e-9)


@given(heights, heights, diameters, speeds)
def test_a_longer_fall_takes_longer_and_ends_faster(
    a: float, b: float, d: float, start: float
) -> None:
    low, high = sorted((a, b))
    short = fall(low, d, initial_speed_m_s=start)
    long = fall(high, d, initial_speed_m_s=start)
    if high - low > 1e-4:
        assert short.time_s < long.time_s
    assert short.speed_m_s <= long.speed_m_s + 1e-4


@given(heights, diameters)
def test_air_only_delays(height: float, d: float) -> None:
    assert fall(height, d).time_s >= math.sqrt(2 * height / GRAVITY)
    assert fall(height, d).speed_m_s <= min(math.sqrt(2 * GRAVITY * height), terminal_speed(d))


@given(st.floats(0.05, 1.5), diameters, diameters)
def test_a_larger_drop_arrives_earlier(height: float, a: float, b: float) -> None:
    small, large = sorted((a, b))
    assert fall(height, large).time_s <= fall(height, small).time_s + 1e-6


@given(st.floats(0.01, 1.0), diameters, st.floats(0.01, 1.9))
def test_two_stretches_add_up_to_one(first: float, d: float, second: float) -> None:
    upper = fall(first, d)
    if upper.speed_m_s > 2.0:
        return
    lower = fall(second, d, initial_speed_m_s=upper.speed_m_s)
    whole = fall(first + second, d)
    assert upper.time_s + lower.time_s == pytest.approx(whole.time_s, abs=6e-6)
    assert lower.speed_m_s == pytest.approx(whole.speed_m_s, abs=3e-4)


@settings(max_examples=30)
@given(st.floats(0.01, 1.0), diameters, st.floats(0.0, 2.0))
def test_a_push_at_the_start_only_hastens(height: float, d: float, start: float) -> None:
    assert fall(height, d, initial_speed_m_s=start).time_s <= fall(height, d).time_s + 3e-6


@pytest.mark.parametrize(
    ("arguments", "quantity", "found", "bounds"),
    [
        ((0.5, 6e-3), "drop diameter", 0.006, (0.001, 0.0055)),
        ((0.5, 4.0), "drop diameter", 4, ANY),  # millimetres given for metres
        ((-0.1, 4e-3), "fall height", -0.1, (0, 5)),
        ((50.0, 4e-3), "fall height", 50, ANY),  # centimetres given for metres
        ((math.nan, 4e-3), "fall height", math.nan, ANY),
        ((math.inf, 4e-3), "fall height", math.inf, ANY),
    ],
)
def test_what_is_out_of_range_is_refused_by_name(
    arguments: tuple[float, float], quantity: str, found: float, bounds: Bounds
) -> None:
    with refuses(quantity, found, bounds):
        fall(*arguments)
    with refuses(quantity, found, bounds):
        DropFalls(np.array([4e-3, arguments[1]]), np.zeros(2)).fall(np.array([0.5, arguments[0]]))


def test_strange_conditions_are_refused_by_name() -> None:
    with refuses("liquid density", 1.0):
        fall(0.5, 4e-3, Conditions(liquid_density_kg_m3=1.0))
    with refuses("surface tension", 72.7):
        terminal_speed(4e-3, Conditions(surface_tension_n_m=72.7))  # mN/m given for N/m
    with refuses("gravity", 981.0):
        fall(0.5, 4e-3, Conditions(gravity=981.0))
    with refuses("initial speed", -1.0):
        fall(0.5, 4e-3, initial_speed_m_s=-1.0)


def test_a_drop_near_breaking_up_is_refused() -> None:
    # 5 m of fall flattens a large soapy drop beyond the drops of Gunn & Kinzer (We 7.8)
    soapy = Conditions(surface_tension_n_m=0.025)
    for call in (
        lambda: fall(5.0, 5.5e-3, soapy),
        lambda: DropFalls(np.full(2, 5.5e-3), np.zeros(2), soapy).fall(np.array([0.5, 5.0])),
    ):
        with pytest.raises(PhysicsRangeError) as caught:
            call()
        assert caught.value.quantity.startswith("Weber number")
        assert isinstance(caught.value.found, float) and caught.value.found > caught.value.high


def test_a_single_fall_needs_no_numpy() -> None:
    script = (
        "import sys; from beamfall.physics.fall import fall; fall(0.5, 4e-3); "
        "assert not {'numpy', 'scipy', 'iapws'} & set(sys.modules)"
    )
    subprocess.run([sys.executable, "-c", script], check=True, env={"PYTHONPATH": _host_path()})


def _host_path() -> str:
    import pathlib

    import beamfall

    return str(pathlib.Path(beamfall.__file__).parent.parent)


def test_arrays_are_calculated_whole_and_not_drop_by_drop(
    count_calls: Callable[[Callable[[], object]], int],
) -> None:
    """Millions a second, as benchmarks/physics_fall.py prints; here calls are counted, whatever the machine."""
    rng = np.random.default_rng(3)
    drops, sizes = rng.uniform(0.1, 1.0, 200_000), rng.uniform(1e-3, 5.5e-3, 200_000)
    DropFalls(sizes[:10], np.zeros(10)).fall(drops[:10])
    calls = count_calls(lambda: DropFalls(sizes, np.zeros(len(sizes))).fall(drops))
    assert 0 < calls < len(drops) / 10
