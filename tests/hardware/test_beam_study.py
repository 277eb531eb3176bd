"""The beam receiver in ngspice against a first-order lag, and against lamp and flash."""

from __future__ import annotations

import pytest
from circuit import study_beam
from circuit.formulas import beam_edge_s


def test_lag_formula_in_its_two_limits():
    # Without lag the crossing is where the even fall of the light puts it: half light at 0, a quarter at +w/4v.
    sweep_s = 1e-3 / 1.6
    assert beam_edge_s(2.0, 1.0, 1e-9, 1.6, 1e-3, 0.0, darkening=True) == pytest.approx(0, abs=1e-8)
    quarter = beam_edge_s(2.0, 0.5, 1e-9, 1.6, 1e-3, 0.0, darkening=True)
    assert quarter == pytest.approx(sweep_s / 4, abs=1e-7)
    # With a lag much shorter than the sweep the crossing comes later by the lag itself.
    later = beam_edge_s(2.0, 1.0, 20e-6, 1.6, 1e-3, 0.0, darkening=True)
    assert later == pytest.approx(20e-6, rel=0.02)


@pytest.mark.usefixtures("ngspice")
def test_a_drop_is_one_pulse_and_a_flash_while_it_is_dark_makes_a_second():
    pulses = [
        study_beam.run_case(case).rises("v(out)", 1.65)
        for case in (study_beam.nominal_case(), study_beam.flash_case(dark=True))
    ]
    assert pulses == [1, 2]


def test_every_corner_agrees_with_the_lag(results):
    rows = [row for row in results.beam_rows if row.get("dark_by_hand_us", "") != ""]
    assert len(rows) == 65
    for row in rows:
        # The junction's capacitance changes with the voltage, the formula takes it at the threshold: within 40 µs
        # (a fifteenth of the 625 µs that the drop's edge takes to sweep the slit).
        assert row["dark_edge_us"] == pytest.approx(row["dark_by_hand_us"], abs=40), row
        assert row["clear_edge_us"] == pytest.approx(row["clear_by_hand_us"], abs=40), row


def test_thresholds_by_hand(results):
    # Divider 22 kΩ/10 kΩ with 100 kΩ to the output (0.04 V low; 3.3 V behind 4.7 kΩ when high), by hand:
    # low (3.3/22k + 0.04/100k)/(1/22k + 1/10k + 1/100k) = 0.966 V; high (3.3/22k + 3.3/104.7k)/(…104.7k) = 1.172 V.
    nominal = results.beam_rows[0]
    assert nominal["threshold_low_V"] == pytest.approx(0.966, rel=0.01)
    assert nominal["threshold_high_V"] == pytest.approx(1.172, rel=0.01)


def test_dwell_is_the_drops_diameter_over_its_speed(results):
    # Half shadow to half light lasts d/v = 2.5 ms; both edges' delays shift it.
    nominal = results.beam_rows[0]
    dwell_us = 2500 + nominal["clear_edge_us"] - nominal["dark_edge_us"]
    assert dwell_us == pytest.approx(2500, rel=0.05)


def test_every_drop_is_one_pulse_in_every_corner_and_under_every_lamp(results):
    rows = [row for row in results.beam_rows if "flash" not in row["case"]]
    assert len(rows) == 65 + 24
    assert {row["dark_pulses"] for row in rows} == {1}


def test_lamp_margin_is_where_the_ripple_reaches_the_threshold(results):
    # By hand: (leak 5 % of 0.24 mA + I·1.5) · 10 kΩ reaches 0.967 V at I = 56 µA; found in steps of 5 µA.
    by_hand_a = (results.beam_rows[0]["threshold_low_V"] / 10e3 - 0.05 * 0.24e-3) / 1.5
    assert results.lamp_limit_a == pytest.approx(by_hand_a, abs=5.5e-6)
    assert results.lamp_limit_a > 2 * study_beam.LAMPS_A["lit room"]


def test_a_stronger_lamp_costs_more_precision(results):
    spreads = [results.lamp_dark[lamp].range_s for lamp in study_beam.LAMPS_A]
    assert spreads == sorted(spreads)
    # Slope of the light 0.24 mA in 625 µs; ripple of ±2.5 µA in the dark hood moves the crossing by ±6.5 µs.
    assert spreads[0] == pytest.approx(2 * 2.5e-6 / (0.95 * 0.24e-3 / 625e-6), rel=0.25)


def test_a_flash_while_dark_makes_a_false_edge_and_while_clear_none(results):
    rows = {row["case"]: row["dark_pulses"] for row in results.beam_rows if "flash" in row["case"]}
    assert rows == {"flash while dark": 2, "flash while clear": 1}
    assert 0 < results.flash_recovery_s < 1e-3
