"""The netlist keeps every rule, and every rule notices when the netlist breaks it."""

from __future__ import annotations

import dataclasses
from collections.abc import Callable

import pytest
from circuit import catalogue, rules_contacts, rules_valves
from circuit.conditions import CONDITIONS
from circuit.netlist import Circuit, Part
from circuit.rules import RULES, check_rules, led_current_range_a, sense_voltages_v
from circuit.spice import run_deck


def change(circuit: Circuit, ref: str, item: str = "", **pins: str) -> Circuit:
    """The circuit with one part's item or some of its pins changed (`_1` stands for pin 1)."""
    part = circuit.part(ref)
    changed = {**part.pins, **{pin.lstrip("_"): net for pin, net in pins.items()}}
    return circuit.with_part(
        dataclasses.replace(part, item_key=item or part.item_key, pins=changed)
    )


def test_the_controller_keeps_every_rule(circuit):
    assert [str(finding) for finding in check_rules(circuit)] == []


Break = Callable[[Circuit], Circuit]
BREAKS: dict[str, tuple[str, Break, str]] = {
    "an item nobody wrote down": (
        "parts are known",
        lambda c: c.with_part(Part("X1", "UNOBTAINIUM", "x", {"1": "GND", "2": "VS"})),
        "UNOBTAINIUM",
    ),
    "an item nobody uses": ("parts are known", lambda c: c.without("S520"), "BUTTON"),
    "a wire to nowhere": ("pins are connected", lambda c: change(c, "R110", _2="LOOSE"), "LOOSE"),
    "a chip's pin forgotten": (
        "pins are connected",
        lambda c: c.with_part(dataclasses.replace(c.part("U210"), open_pins=())),
        "U210 pin 3",
    ),
    "no gate pull-down": ("gates are pulled down", lambda c: c.without("R111"), "Q110"),
    "no gate path for the reverse-polarity transistor": (
        "gates are pulled down",
        lambda c: c.without("R1"),
        "Q1",
    ),
    "a gate resistor as large as the pull-down": (
        "gates are driven",
        lambda c: change(c, "R110", item="R10K"),
        "Q110: gate gets",
    ),
    "no Zener on the 24 V gate": ("gates are driven", lambda c: c.without("D1"), "Q1"),
    "no clamp diode": ("coils are clamped", lambda c: c.without("D110"), "L110"),
    "a clamp diode the wrong way round": (
        "coils are clamped",
        lambda c: change(c, "D120", A="CLAMP2", K="DRAIN2"),
        "L120",
    ),
    "a TVS the wrong way round": (
        "coils are clamped",
        lambda c: change(c, "D131", A="CLAMP3", K="VALVE3_FEED"),
        "L130",
    ),
    "a valve without its fuse": (
        "coils are fused",
        lambda c: change(c, "F110", _1="VALVE1_FEED"),
        "L110: no fuse",
    ),
    "fuses as they were: 0.75 A resettable, as slow as 6 s": (
        "fuses open",
        lambda c: change(c, "F110", item="FT125A"),
        "F110: opens only after",
    ),
    "a shunt of a quarter watt": ("fuses open", lambda c: change(c, "R510", item="R4R7"), "R510"),
    "no high-side switch": (
        "high-side switch",
        lambda c: c.without("Q140"),
        "0 high-side switches",
    ),
    "a wire beside the high-side switch": (
        "high-side switch",
        lambda c: change(c, "F1", _1="VS", _2="VV"),
        "F1 joins",
    ),
    "a high-side switch that valve 2 does not switch on": (
        "high-side switch",
        lambda c: c.without("D141"),
        "valve 2",
    ),
    "a high-side switch without the resistor that holds it off": (
        "gates are pulled down",
        lambda c: c.without("R143"),
        "Q140",
    ),
    "a gate drive of 3.9 V": (
        "gates are driven",
        lambda c: change(c, "R111", item="R10K"),
        "Q110: gate gets 3.9",
    ),
    "a beam's receiver fed with bare 3.3 V": (
        "cables",
        lambda c: change(c, "J410", _3="V3"),
        "J410 pin 3 carries V3",
    ),
    "a comparator's input straight on a connector": (
        "cables",
        lambda c: change(c, "J410", _4="BEAM1_SIGNAL"),
        "J410 pin 4 reaches U3",
    ),
    "no protection against static charge": ("cables", lambda c: c.without("D411"), "BEAM1_SIGNAL"),
    "a beam too weak": ("beam has light", lambda c: change(c, "R416", item="R680"), "Q410"),
    "a thyristor's pulse without its resistor": (
        "contact ratings",
        lambda c: c.without("R213"),
        "Q210: pulse",
    ),
    "a gate resistor that takes the current of a hot, aged optocoupler": (
        "contact ratings",
        lambda c: change(c, "R212", item="R1K"),
        "Q210: hot and aged",
    ),
    "no main fuse": ("coils are fused", lambda c: c.without("F1"), "J2"),
    "no reverse-polarity transistor": ("polarity is protected", lambda c: c.without("Q1"), "VS"),
    "reverse-polarity transistor the wrong way round": (
        "polarity is protected",
        lambda c: change(c, "Q1", D="VS", S="VIN_SWITCHED"),
        "VS",
    ),
    "an LED without resistor": ("LED currents", lambda c: change(c, "LED1", A="VS"), "LED1"),
    "an optocoupler with a thousand times too little current": (
        "LED currents",
        lambda c: change(c, "R210", item="R1M"),
        "U210",
    ),
    "an optocoupler with too much current": (
        "LED currents",
        lambda c: change(c, "R310", item="R150"),
        "U310",
    ),
    "a flash contact on logic ground": (
        "isolation",
        lambda c: change(c, "R212", _2="GND"),
        "FLASH1 is joined to GND",
    ),
    "two flashes joined": (
        "isolation",
        lambda c: change(c, "J220", _1="FLASH1_1"),
        "FLASH1 and FLASH2 are joined",
    ),
    "the camera's common on logic ground": (
        "isolation",
        lambda c: change(c, "J310", S="GND"),
        "CAM is joined to GND",
    ),
    "an ordinary optocoupler on a flash": (
        "contact ratings",
        lambda c: c.with_part(
            Part(
                "U210",
                "OPTO35",
                "flash1",
                {"1": "FLASH1_LED", "2": "GND", "3": "FLASH1_G", "4": "FLASH1_P"},
            )
        ),
        "35 V",
    ),
    "no bridge": ("contact ratings", lambda c: c.without("D210"), "polarity"),
    "no base resistor": ("contact ratings", lambda c: c.without("R211"), "U210"),
    "a buffer input without pull-down": ("buffer", lambda c: c.without("R24"), "A4"),
    "a pull-down too weak for a leaking pin": (
        "buffer",
        lambda c: change(c, "R24", item="R100K"),
        "A4",
    ),
    "a gate without series resistor worth the name": (
        "buffer",
        lambda c: change(c, "R110", item="R0R22"),
        "Y1",
    ),
    "a small resistor across the 24 V": (
        "powers and voltages",
        lambda c: change(c, "R2", item="R680"),
        "R2",
    ),
    "a 16 V capacitor on the 24 V": (
        "powers and voltages",
        lambda c: change(c, "C1", item="C100U"),
        "C1",
    ),
    "a pin without series resistor": (
        "board pins",
        lambda c: change(c, "U3", _2="PIN_BEAM1"),
        "beam1",
    ),
    "a pin pulled to 5 V": ("board pins", lambda c: change(c, "R414", _1="V5"), "beam1"),
    "an amplifier on 5 V": ("board pins", lambda c: change(c, "U4", _8="V5"), "coil_current"),
    "a gain too high for the converter": (
        "board pins",
        lambda c: change(c, "R513", item="R22K"),
        "coil_current",
    ),
}


@pytest.mark.parametrize("name", BREAKS)
def test_a_broken_netlist_is_found(circuit, name):
    rule, broken, told = BREAKS[name]
    findings = RULES[rule](broken(circuit))
    assert any(told in finding for finding in findings), findings


def test_every_rule_has_been_seen_to_fail():
    assert {rule for rule, _, _ in BREAKS.values()} == set(RULES)


def test_a_transistor_rated_too_low_for_its_clamp_is_found(circuit, monkeypatch):
    weak = dataclasses.replace(
        catalogue.ITEMS["NMOS100"], ratings={**catalogue.ITEMS["NMOS100"].ratings, "v_ds": 60}
    )
    monkeypatch.setattr("circuit.netlist.ITEMS", {**catalogue.ITEMS, "NMOS100": weak})
    findings = rules_valves.check_coils_clamped(circuit)
    assert len(findings) == 3 and all("48 V" in finding for finding in findings)


def test_contacts_stand_apart_from_one_another(circuit):
    groups = rules_contacts.galvanic_groups(circuit)
    # Logic, three flashes, camera: five islands with only light between them.
    assert len(groups) == 5
    flash1 = next(group for group in groups if "FLASH1_P" in group)
    assert flash1 == {
        "FLASH1_1",
        "FLASH1_2",
        "FLASH1_AC",
        "FLASH1_P",
        "FLASH1_N",
        "FLASH1_G",
        "FLASH1_B",
    }


def test_led_currents_by_hand(circuit):
    # By hand, Ohm's law: U210 from 4.3 V through 110 Ω + 220 Ω·1.01, LED 1.40 V: 8.73 mA; from 5.25 V through
    # 33 Ω + 220 Ω·0.99, LED 1.10 V: 16.5 mA.
    least, most = led_current_range_a(circuit, circuit.part("U210"))
    assert least == pytest.approx(2.9 / 332.2, rel=1e-6)
    assert most == pytest.approx(4.15 / 250.8, rel=1e-6)


def test_a_contacts_pulse_by_hand():
    # 320 V, 10 µH, 47 nF: Z = 14.59 Ω, 21.9 A with nothing in series; 4.465 Ω damp it to 17.6 A (ζ = 0.153).
    assert rules_contacts.surge_a(0) == pytest.approx(21.94, rel=1e-3)
    assert rules_contacts.surge_a(4.7 * 0.95) == pytest.approx(17.61, rel=1e-3)


@pytest.mark.parametrize(
    ("fuse", "ampere", "second"),
    # By hand: (2.1·0.63/3)² = 0.1945, −2.29·ln 0.8055; the standard's gates: F within 2 s at 2.75 In.
    [("F110", 3.0, 0.495), ("F110", 2.75 * 0.63, 2.0), ("F1", 2.1 * 1.25, float("inf"))],
)
def test_how_long_the_slowest_fuse_takes(circuit, fuse, ampere, second):
    assert rules_valves.opening_limit_s(circuit.part(fuse), ampere) == pytest.approx(
        second, rel=0.01
    )


@pytest.mark.usefixtures("ngspice")
@pytest.mark.parametrize("supply_v", [11.4, 25.2])
@pytest.mark.parametrize("short_ohm", [0.05, 2.0])
@pytest.mark.parametrize("limit_a", CONDITIONS.supply_limit_a)
def test_a_shorted_valve_opens_its_fuse_in_the_simulator(circuit, supply_v, short_ohm, limit_a):
    fuse, shunt = circuit.part("F110").item.ratings, circuit.part("R510").item.ratings
    params = {"vsup": supply_v, "rshort": short_ohm, "ilimit": limit_a, "ifuse": fuse["amp"]}
    run = run_deck("short", {**params, "tau": fuse["blow_tau_s"], "rshunt": shunt["ohm"]})
    assert run["t_open"] < 2.0
    assert run["e_shunt"] < 5 * shunt["watt"] * 2.0


@pytest.mark.usefixtures("ngspice")
@pytest.mark.parametrize("limit_a", CONDITIONS.supply_limit_a)
def test_a_short_on_the_board_opens_the_main_fuse_in_the_simulator(circuit, limit_a):
    fuse = circuit.part("F1").item.ratings
    params = {"ilimit": limit_a, "ifuse": fuse["amp"], "tau": fuse["blow_tau_s"], "tstop": 400}
    run = run_deck("short", params)
    assert run["t_open"] < 300
    # The formula leaves out the reservoir capacitor, which helps a little.
    assert run["t_open"] == pytest.approx(
        rules_valves.opening_limit_s(circuit.part("F1"), limit_a), rel=0.05
    )


def test_sense_lines_by_hand(circuit):
    # 1.5 A · 0.22 Ω · 8.5 and 25.2 V · 10/110, by hand.
    volts = sense_voltages_v(circuit)
    assert volts["coil_current"] == pytest.approx(2.805)
    assert volts["supply_voltage"] == pytest.approx(2.2909, rel=1e-4)


def test_a_gate_stays_shut_while_the_board_leaks(circuit):
    # 0.12 mA (RP2350-E9, from memory) through 4.7 kΩ: 0.57 V, below the 0.8 V of a TTL low (JEDEC JESD8, from memory).
    ohm = circuit.part("R21").item.ratings["ohm"]
    assert CONDITIONS.pin_leak_a * ohm * 1.01 < 0.8


@pytest.mark.parametrize("first,twins", [("valve1", "23"), ("flash1", "23"), ("beam1", "2")])
def test_blocks_drawn_once_are_alike(circuit, first, twins):
    shared = {"GND", "V3", "V5", "VS", "SHUNT"}

    def shape(block: str) -> list[tuple[str, dict[str, str]]]:
        """Items and pins, nets of the block's own by the order in which they appear."""
        own: dict[str, str] = {name: name for name in shared}
        rows = []
        for part in circuit.parts:
            if part.block == block:
                for net in part.pins.values():
                    own.setdefault(net, f"n{len(own)}")
                rows.append((part.item_key, {pin: own[net] for pin, net in part.pins.items()}))
        return rows

    assert shape(first)
    for number in twins:
        assert shape(first) == shape(first[:-1] + number)
