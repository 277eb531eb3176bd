"""Drop size, dwell and ringing against published laws and tables."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from beamfall.errors import PhysicsRangeError
from beamfall.physics.drops import (
    beam_dwell,
    compute_diameter,
    compute_volume,
    diameter_from_dwell,
    dripping_volume,
    estimate_detachment,
    estimate_shape,
    nozzle_drops,
    orifice_flow,
    oscillation_damping_time,
    oscillation_frequency,
    valve_volume,
)
from beamfall.physics.fall import terminal_speed
from beamfall.physics.liquids import WATER, Liquid


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


def test_flow_through_an_orifice() -> None:
    # Torricelli: H 0.1 m, bore 2 mm, Cd 0.61 -> 2.68 µL/ms
    assert orifice_flow(0.1, 2e-3) * 1e6 == pytest.approx(2.684, abs=5e-3)
    # 12.5 ms of it make a drop of 4 mm
    assert compute_diameter(valve_volume(orifice_flow(0.1, 2e-3), 12.5e-3)) == pytest.approx(
        4e-3, rel=2e-3
    )


def test_flow_agrees_with_fluids_for_a_sharp_orifice() -> None:
    meter = pytest.importorskip("fluids.flow_meter")
    # fluids 1.3.1: incompressible flow through a 2 mm plate in a wide pipe, C 0.61
    pressure = 998.207 * 9.80665 * 0.1
    mass = meter.flow_meter_discharge(
        D=0.2, Do=2e-3, P1=101325 + pressure, P2=101325, rho=998.207, C=0.61
    )
    assert orifice_flow(0.1, 2e-3) == pytest.approx(mass / 998.207, rel=1e-6)


def test_the_valve_lag_shortens_the_opening() -> None:
    flow = orifice_flow(0.1, 2e-3)
    assert valve_volume(flow, 0.010, lag_s=0.002) == pytest.approx(flow * 0.008)
    assert valve_volume(flow, 0.001, lag_s=0.002) == 0.0


def test_dwell_in_a_beam() -> None:
    # references: 4 mm at 1.565 m/s: 2.556 ms with w = 0, 4.473 ms with w = 3 mm
    assert beam_dwell(4e-3, 1.565) * 1e3 == pytest.approx(2.556, abs=5e-4)
    assert beam_dwell(4e-3, 1.565, beam_width_m=3e-3) * 1e3 == pytest.approx(4.473, abs=5e-4)


def test_dwell_off_the_axis_is_that_of_the_chord() -> None:
    # chord √(d² − 4y²): d 5 mm, y 1.5 mm -> 4 mm exactly
    assert beam_dwell(5e-3, 2.0, offset_m=1.5e-3) == pytest.approx(2e-3)
    assert diameter_from_dwell(2e-3, 2.0, offset_m=1.5e-3) == pytest.approx(5e-3)


@given(st.floats(1e-3, 8e-3), st.floats(0.1, 5.0), st.floats(0.0, 5e-3), st.floats(0.0, 0.99))
def test_dwell_and_diameter_are_inverse(
    diameter: float, speed: float, width: float, off: float
) -> None:
    offset = 0.5 * diameter * off
    dwell = beam_dwell(diameter, speed, beam_width_m=width, offset_m=offset)
    back = diameter_from_dwell(dwell, speed, beam_width_m=width, offset_m=offset)
    assert back == pytest.approx(diameter, rel=1e-6)
    # who does not know of the offset sees a smaller drop
    assert diameter_from_dwell(dwell, speed, beam_width_m=width) <= diameter * (1 + 1e-9)


def test_ringing_of_a_drop() -> None:
    # Rayleigh 1879: √(8σ/ρR³)/2π = 43.0 Hz at 4 mm; Lamb: R²/5ν = 0.797 s
    assert oscillation_frequency(4e-3) == pytest.approx(43.0, abs=0.05)
    assert oscillation_damping_time(4e-3) == pytest.approx(0.797, abs=1e-3)


@pytest.mark.parametrize(("mode", "ratio"), [(3, math.sqrt(30 / 8)), (4, math.sqrt(72 / 8))])
def test_higher_modes_ring_faster_by_rayleigh(mode: int, ratio: float) -> None:
    # n(n−1)(n+2) = 8, 30, 72 for n = 2, 3, 4
    assert oscillation_frequency(4e-3, mode=mode) == pytest.approx(
        ratio * oscillation_frequency(4e-3)
    )


@pytest.mark.parametrize("diameter_mm", [1.0, 2.0, 3.0, 4.0, 5.0])
def test_flattening_at_terminal_speed(diameter_mm: float) -> None:
    # Beard & Chuang 1987, J. Atmos. Sci. 44:1509 (second-hand), axis ratio by diameter in mm
    d = diameter_mm
    published = 1.0048 + 5.7e-4 * d - 2.628e-2 * d**2 + 3.682e-3 * d**3 - 1.677e-4 * d**4
    shape = estimate_shape(0.5, d * 1e-3, terminal_speed(d * 1e-3))
    assert shape.mean_ratio == pytest.approx(published, abs=0.025)


def test_the_ringing_dies_away_and_counts_its_cycles() -> None:
    early, late = (estimate_shape(t, 4e-3, 1.5) for t in (0.0, 1.5))
    assert late.highest_ratio - late.lowest_ratio < 0.2 * (early.highest_ratio - early.lowest_ratio)
    assert early.lowest_ratio < early.mean_ratio < early.highest_ratio
    # 43.0 Hz for 1.5 s
    assert late.phase_cycles == pytest.approx(64.4, abs=0.1)
    # a drop of glycerol and water (10 mPa·s) is calm ten times sooner
    thick = Liquid("thick", 998.207, 1.0016e-2, 0.072736)
    assert oscillation_damping_time(4e-3, thick) == pytest.approx(0.0797, abs=1e-4)


def test_a_detaching_drop_hangs_within_the_seen_range() -> None:
    # photographs of dripping taps: 0.7-1.5 diameters (common practice, no source)
    found = estimate_detachment(4e-3)
    assert 0.7 * 4e-3 <= found.length_m <= 1.5 * 4e-3
    assert 0.05 < found.speed_m_s < 0.4
    assert found.length_spread_m > 0 and found.speed_spread_m_s > 0


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda: compute_volume(4.0), r"drop diameter = 4 m .* 0\.0001 and 0\.02 m"),
        (lambda: compute_diameter(0.0), "drop volume = 0 m³"),
        (lambda: orifice_flow(10.0, 2e-3), "head = 10 m .* 0.005 and 2 m"),
        (lambda: orifice_flow(0.1, 2.0), "bore = 2 m"),
        (lambda: orifice_flow(0.1, 2e-3, discharge=1.4), "discharge coefficient = 1.4"),
        (lambda: valve_volume(1e-6, 12.5), "valve opening = 12.5 s"),
        (lambda: dripping_volume(0.02), r"wetted radius = 0\.02 m .* 0\.00726"),
        (lambda: nozzle_drops(4e-3, 2e-3), r"outer diameter = 0\.002 m .* 0\.004 and"),
        (lambda: beam_dwell(4e-3, 0.0), "drop speed = 0 m/s"),
        (lambda: beam_dwell(4e-3, 1.0, offset_m=2.5e-3), r"offset = 0\.0025 m .* 0 and 0\.002 m"),
        (lambda: beam_dwell(4e-3, 1.0, beam_width_m=-1e-3), "beam width = -0.001 m"),
        (lambda: diameter_from_dwell(1e-3, 1.0, beam_width_m=3e-3), r"dwell = 0\.001 s .* 0\.003"),
        (lambda: oscillation_frequency(4e-3, mode=1), "mode = 1"),
        (lambda: estimate_shape(0.1, 4e-3, 50.0), "drop speed = 50 m/s"),
    ],
)
def test_bad_drops_are_refused_with_key_value_and_range(call: object, message: str) -> None:
    assert callable(call)
    with pytest.raises(PhysicsRangeError, match=message):
        call()


@given(st.floats(1e-4, 7e-3), st.floats(1e-4, 7e-3))
def test_a_wider_nozzle_drips_larger_drops(a: float, b: float) -> None:
    fine, wide = sorted((a, b))
    assert dripping_volume(fine) <= dripping_volume(wide) * (1 + 1e-9)
