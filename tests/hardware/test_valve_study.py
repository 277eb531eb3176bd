"""The valve driver in ngspice against L·di/dt = −R·i − V, solved by hand."""

from __future__ import annotations

import math

import pytest
from circuit import study_valve
from circuit.errors import SimulationError
from circuit.spice import run_deck

from beamfall.physics.coil import closing_time_s, coil_times, opening_time_s


@pytest.mark.parametrize(
    ("clamp_v", "expected_ms"),
    # By hand: τ = 2.5 ms; ln[(0.2 + V/60)/(0.05 + V/60)] with V = 0.8 (a diode), 24, 36: ln 3.368, ln 4/3, ln 1.2308.
    [(0.8, 3.036), (24.0, 0.7192), (36.0, 0.5191)],
)
def test_hand_formula_gives_the_reference_values(clamp_v, expected_ms):
    assert closing_time_s(0.15, 60, 0.2, 0.05, clamp_v) * 1e3 == pytest.approx(
        expected_ms, rel=1e-3
    )


def test_opening_formula_by_the_time_constant():
    # 63.2 % of the settled current after one L/R.
    assert opening_time_s(0.15, 60, 12, 0.2 * (1 - math.exp(-1))) == pytest.approx(2.5e-3)
    assert opening_time_s(0.15, 60, 12, 0.3) == math.inf


def test_every_corner_agrees_with_the_hand_formula(results):
    rows = results.valve_rows
    assert len(rows) == 6 * (1 + 32 + 4)
    for row in rows:
        assert row["closing_us"] == pytest.approx(row["closing_by_hand_us"], rel=0.02), row


@pytest.mark.usefixtures("ngspice")
def test_nominal_cases_agree_in_everything():
    for case in study_valve.nominal_cases():
        measured, by_hand = study_valve.run_case(case), case.by_hand()
        assert measured["t_pull"] == pytest.approx(by_hand["t_pull"], rel=0.01)
        assert measured["i_end"] == pytest.approx(by_hand["i_end"], rel=0.01)
        assert measured["v_peak"] == pytest.approx(by_hand["v_peak"], rel=0.01)


@pytest.mark.usefixtures("ngspice")
def test_the_clamp_takes_the_coils_energy_and_what_the_resistance_leaves():
    # Energy: ½·L·I² is shared by clamp and winding. By hand, 36.8 V across, τ = 2.5 ms: charge = ∫i·dt until i = 0 is
    # (L·I0 − Vc·t0)/R with t0 = τ·ln(1 + I0·R/Vc).
    case = next(c for c in study_valve.nominal_cases() if (c.supply_v, c.clamp_v) == (12.0, 36.0))
    measured = study_valve.run_case(case)
    across, start = 36.8, measured["i_end"]
    t0 = 0.15 / 60 * math.log(1 + start * 60 / across)
    charge = (0.15 * start - across * t0) / 60
    assert measured["e_clamp"] == pytest.approx(across * charge, rel=0.04)
    assert measured["e_clamp"] < 0.5 * 0.15 * start**2


def test_a_stronger_clamp_closes_faster_and_spreads_less(results):
    for supply in (12.0, 24.0):
        plain, middle, strong = (results.closing[(supply, clamp)] for clamp in (0.0, 24.0, 36.0))
        assert plain.nominal_s > 3 * middle.nominal_s * 0.9 > 3 * strong.nominal_s * 0.9
        assert plain.range_s > middle.range_s > strong.range_s


def test_no_corner_exceeds_the_transistors_derated_voltage(results, circuit):
    limit = circuit.part("Q110").item.ratings["v_ds"] * 0.8
    assert max(results.peak_v.values()) < limit


def test_the_rules_peak_bounds_the_simulated_one(results, circuit):
    from circuit.rules_valves import clamp_peak_v

    for supply in (12.0, 24.0):
        bound = clamp_peak_v(circuit, circuit.part("L110"), supply * 1.05)
        assert results.peak_v[(supply, 36.0)] <= bound < results.peak_v[(supply, 36.0)] * 1.1


@pytest.mark.usefixtures("ngspice")
def test_a_parameter_the_deck_does_not_have_is_refused():
    with pytest.raises(SimulationError, match="rcoyl"):
        run_deck("valve", {"rcoyl": 60.0})


@pytest.mark.full
@pytest.mark.usefixtures("ngspice")
def test_a_measurement_that_finds_nothing_is_an_error_unless_it_may():
    never = {"ipull": 1.0}
    with pytest.raises(SimulationError, match="t_pull"):
        run_deck("valve", never)
    assert "t_pull" not in run_deck("valve", never, optional=["t_pull"]).measured


@pytest.mark.usefixtures("ngspice")
@pytest.mark.parametrize(
    ("ohm", "henry"),
    [
        (24, 0.3),
        *(pytest.param(*coil, marks=pytest.mark.full) for coil in ((24, 0.06), (100, 0.02))),
    ],
)
def test_other_coils_move_within_the_corners_that_the_table_gives(ohm, henry):
    change = {"rcoil": ohm, "lcoil": henry, "ipull": 0.6 * 12 / ohm, "ihold": 0.25 * 12 / ohm}
    run = run_deck("valve", {**study_valve._params(12.0, 36.0), **change, "ton": 0.2, "toff": 0.02})
    times = coil_times(ohm, henry, 12.0)
    assert times.pull_in_s[0] < run["t_pull"] < times.pull_in_s[1]
    assert times.let_go_s[0] < run["t_hold"] < times.let_go_s[1]
    assert run["q_clamp"] * 36.8 < times.clamp_j
