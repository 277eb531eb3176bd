"""The flash output in ngspice against charge over current, and what it does at the contact."""

from __future__ import annotations

import numpy as np
import pytest
from circuit import study_opto
from circuit.spice import run_deck


def test_every_delay_agrees_with_the_hand_formula(results):
    fired = [row for row in results.opto_rows if row["delay_us"] != "does not fire"]
    assert len(fired) == 3 * (1 + 16 + 2)
    for row in fired:
        # Charge over current leaves out the thyristor's own turn-on and the emitter resistor: from below, within 1.9.
        assert 0.9 < row["delay_us"] / row["delay_by_hand_us"] < 1.9, row


def test_typical_turn_on_is_that_of_a_data_sheet(results):
    # 5 µs typical at 10 mA is what data sheets of 300 V transistor optocouplers say (from memory): same order.
    assert 2e-6 < results.opto_on["6 V"].nominal_s < 10e-6


def test_worst_delay_is_far_below_a_drops_time(results):
    # 50 µs at 3.3 m/s is 0.17 mm of a drop's fall.
    assert max(spread.greatest_s for spread in results.opto_on.values()) < 50e-6


def test_an_old_contact_needs_the_thyristor(results):
    rows = {row["contact"]: row for row in results.opto_rows if row["case"] == "nominal"}
    assert rows["300 V, no thyristor"]["delay_us"] == "does not fire"
    assert rows["300 V, no thyristor"]["closed_V"] > 150
    assert rows["300 V, thyristor"]["closed_V"] < 2
    assert rows["300 V, thyristor"]["peak_A"] > 5


@pytest.mark.usefixtures("ngspice")
def test_polarity_does_not_matter():
    case = next(c for c in study_opto.nominal_cases() if c.contact == "6 V")
    forward = study_opto.run_case(case)
    turned = study_opto.OptoCase(case.contact, case.corner, {**case.params, "vcontact": -6.0})
    run = run_deck("optocoupler", turned.params, ["v(con)"], optional=["t_on", "t_off"])
    after = (run.time_s > 100e-6) & (run.time_s < 500e-6)
    # The contact's voltage rises from −6 V towards −1.6 V without turning back: interpolate where it passes −3 V.
    crossed_s = np.interp(-3.0, run.waves["v(con)"][after], run.time_s[after]) - 100.01e-6
    assert crossed_s == pytest.approx(forward["t_on"], rel=0.05)
    assert run["v_closed"] == pytest.approx(-forward["v_closed"], rel=0.05)


@pytest.mark.usefixtures("ngspice")
def test_the_led_current_is_that_of_the_rule(circuit):
    from circuit.rules import led_current_range_a

    least, most = led_current_range_a(circuit, circuit.part("U210"))
    for case in study_opto.corner_cases():
        if case.contact == "6 V":
            assert least * 0.9 < study_opto.run_case(case)["i_led"] < most * 1.05
