"""Drop size, dwell and ringing against published laws and tables."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from fluids.flow_meter import flow_meter_discharge
from hypothesis import given
from hypothesis import strategies as st

from beamfall.physics.drops import (
    ValveFlow,
    compute_diameter,
    compute_volume,
    dripping_volume,
    nozzle_drops,
    start_speed,
    valve_flow,
    valve_volume,
)
from beamfall.physics.liquids import WATER, glycerol_water


def test_volume_of_4_mm() -> None:
    # π/6·4³ = 33.51 µL
    assert compute_volume(4e-3) * 1e9 == pytest.approx(33.51, abs=5e-3)
    assert compute_diameter(33.5103e-9) == pytest.approx(4e-3, rel=1e-5)


@pytest.mark.parametrize(
    ("radius_mm", "volume_ul"),
    [(1.0, 34.1), (1.5, 47.4), (2.0, 60.2)],  # Harkins & Brown 1919, water 20 °C (computed)
)
def test_dripping_volume_by_harkins_and_brown(radius_mm: float, volume_ul: float) -> None:
    assert dripping_volume(radius_mm * 1e-3) * 1e9 == pytest.approx(volume_ul, abs=0.06)


@pytest.mark.parametrize(
    ("x", "fraction"),
    [
        # Harkins & Brown 1919, table of f by r/V^(1/3) (from memory), here within 1.5 %
        (0.30, 0.7256),
        (0.40, 0.6828),
        (0.50, 0.6515),
        (0.60, 0.6250),
        (0.70, 0.6093),
        (0.80, 0.6000),
        (0.90, 0.5998),
        (1.00, 0.6098),
    ],
)
def test_the_fraction_that_falls_meets_the_table(x: float, fraction: float) -> None:
    # From V = 2πrσf/(ρg) and r = x·V^(1/3): r² = 2πx³σf/(ρg)
    g, length2 = 9.80665, WATER.surface_tension_n_m / (WATER.density_kg_m3 * 9.80665)
    radius = math.sqrt(2 * math.pi * x**3 * length2 * fraction)
    volume = dripping_volume(radius, gravity=g)
    found = WATER.density_kg_m3 * g * volume / (2 * math.pi * radius * WATER.surface_tension_n_m)
    assert found == pytest.approx(fraction, rel=0.015)


def test_a_fine_tip_follows_tate() -> None:
    # Tate 1864: the whole hanging weight 2πrσ falls as the tip becomes fine
    radius = 1e-4
    tate = 2 * math.pi * radius * WATER.surface_tension_n_m / (WATER.density_kg_m3 * 9.80665)
    assert 0.9 * tate < dripping_volume(radius) < tate


def test_smallest_and_largest_drop_of_a_nozzle() -> None:
    found = nozzle_drops(2e-3, 4e-3)
    # the two ends are Harkins & Brown's 34.1 and 60.2 µL (computed)
    assert found.smallest_m3 * 1e9 == pytest.approx(34.1, abs=0.06)
    assert found.largest_m3 * 1e9 == pytest.approx(60.2, abs=0.06)


def test_a_short_valve_follows_torricelli() -> None:
    # Torricelli: H 0.1 m, bore 2 mm, Cd 0.61 -> 2.68 µL/ms
    assert valve_flow(0.1, 2e-3, 1e-4).steady_m3_s * 1e6 == pytest.approx(2.684, abs=5e-3)


def test_flow_agrees_with_fluids_for_a_sharp_orifice() -> None:
    # fluids 1.3.1: incompressible flow through a 2 mm plate in a wide pipe, C 0.61
    pressure = 998.207 * 9.80665 * 0.1
    mass = flow_meter_discharge(
        D=0.2, Do=2e-3, P1=101325 + pressure, P2=101325, rho=998.207, C=0.61
    )
    flow = valve_flow(0.1, 2e-3, 1e-4, replace(WATER, viscosity_pa_s=1e-4))
    assert flow.steady_m3_s == pytest.approx(mass / 998.207, rel=1e-4)


@pytest.mark.parametrize(
    ("glycerol", "volume_ul"),
    # Head 10 cm, bore 2 mm, 20 mm long, 13 ms of steady flow: head, orifice and Hagen-Poiseuille
    # by hand give 32.5, 19.4 (10.8 mPa·s, 1,150 kg/m³), 4.9 (60 mPa·s, 1,209 kg/m³), 0.22 µL.
    [(0.0, 32.5), (0.6, 18.5), (0.8, 4.9), (1.0, 0.22)],
)
def test_a_thick_liquid_hardly_passes(glycerol: float, volume_ul: float) -> None:
    flow = valve_flow(0.1, 2e-3, 0.02, glycerol_water(glycerol))
    assert flow.steady_m3_s * 0.013 * 1e9 == pytest.approx(volume_ul, rel=0.02)


def test_the_flow_takes_time_to_build_up() -> None:
    # Euler's steps of L·du/dt = g·H − u²/(2·Cd²) − 32·ν·L·u/d², 13 ms: 11.599 µL, 0.51737 m/s,
    # which is a third of what Torricelli promises.
    flow = valve_flow(0.1, 2e-3, 0.02)
    assert flow.compute_volume(0.013) * 1e9 == pytest.approx(11.600, abs=2e-3)
    assert flow.compute_speed(0.013) == pytest.approx(0.51737, abs=2e-5)
    assert flow.compute_volume(flow.find_opening(33e-9)) == pytest.approx(33e-9)
    later = flow.compute_volume(0.5) - flow.compute_volume(0.4)
    assert later == pytest.approx(0.1 * flow.steady_m3_s, rel=1e-6)


def test_the_valve_lag_shortens_the_opening() -> None:
    flow = valve_flow(0.1, 2e-3, 0.02)
    assert valve_volume(flow, 0.010, lag_s=0.002) == pytest.approx(flow.compute_volume(0.008))
    assert valve_volume(flow, 0.001, lag_s=0.002) == 0.0


@pytest.mark.parametrize(
    ("bore_mm", "steady", "rise_ms", "open_ms", "volume_ul", "computed"),
    # Computed with an open solver (axisymmetric volume of fluid, mesh of 0.16 mm): inflow u∞·tanh(t/τ)
    # through a bore until the valve closes; the drop's speed as it comes free.
    [(2.5, 0.55, 24.6, 26.0, 26.97, 0.257), (2.0, 0.80, 17.0, 24.0, 27.62, 0.529)],
)
def test_the_first_speed_is_that_of_computed_drops(
    bore_mm, steady, rise_ms, open_ms, volume_ul, computed
) -> None:
    bore = bore_mm * 1e-3
    area = math.pi / 4.0 * bore**2
    flow = ValveFlow(steady * area, bore, 2.0 / (rise_ms * 1e-3), 1.0)  # u∞·tanh(t/τ)
    push = flow.compute_push(open_ms * 1e-3)
    found = start_speed(compute_diameter(volume_ul * 1e-9), push, bore)
    assert found == pytest.approx(computed, rel=0.1)


def test_the_push_is_the_mean_by_momentum() -> None:
    flow = valve_flow(0.05, 2.5e-3, 0.02, glycerol_water(0.5))
    times = np.linspace(0.0, 0.026, 20_001)
    speeds = flow.compute_speed(times)
    expected = np.trapezoid(speeds**2, times) / np.trapezoid(speeds, times)
    assert flow.compute_push(0.026) == pytest.approx(expected, rel=1e-6)


def test_a_drop_that_drips_starts_with_its_own_fall_and_a_pushed_one_faster() -> None:
    assert start_speed(4e-3, 0.1, 2e-3, gravity=9.81) == pytest.approx((0.5 * 9.81 * 4e-3) ** 0.5)
    # 0.8 m/s through 2 mm: √(0.0196 + 0.64 − 2·0.072736/(998.2·0.002)) = 0.766
    assert start_speed(4e-3, 0.8, 2e-3) == pytest.approx(0.766, abs=1e-3)


@given(st.floats(1e-4, 7e-3), st.floats(1e-4, 7e-3))
def test_a_wider_nozzle_drips_larger_drops(a: float, b: float) -> None:
    fine, wide = sorted((a, b))
    assert dripping_volume(fine) <= dripping_volume(wide) * (1 + 1e-9)
