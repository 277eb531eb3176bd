"""Wiring tables and firmware profiles say the same, and a disagreement is refused."""

from __future__ import annotations

import csv
import importlib.util
import shutil
import sys
from pathlib import Path

import pytest
from circuit import profiles, rules, wiring
from circuit.errors import ProfileError

BOARDS = profiles.PROFILES
REAL = [
    path.stem for path in sorted(BOARDS.glob("*.py")) if path.stem not in ("simulated", "__init__")
]
SIGNALS = profiles.read_signals()


def load(board: str):
    """The profile as plain Python reads it, not through the hardware tools."""
    sys.path.insert(0, str(BOARDS.parent))
    try:
        spec = importlib.util.spec_from_file_location(f"profile_{board}", BOARDS / f"{board}.py")
        module = importlib.util.module_from_spec(spec)
        spec.loader.exec_module(module)
    finally:
        sys.path.remove(str(BOARDS.parent))
        for name in [name for name in sys.modules if name.split(".")[0] == "boards"]:
            del sys.modules[name]
    return module


@pytest.mark.parametrize("board", REAL)
def test_committed_wiring_table_is_the_profiles(hardware, board):
    profile = load(board)
    with (hardware / "wiring" / f"{board}.csv").open() as file:
        pins = {row["line"]: row["pin"] for row in csv.DictReader(file)}
    expected = {
        SIGNALS[value]: entry[0] for value, entry in {**profile.OUTPUTS, **profile.INPUTS}.items()
    }
    assert expected, "the profile has no pins"
    for signal, pin in expected.items():
        digits = pins[signal].removeprefix("GPIO").removeprefix("GP")
        assert digits == str(pin), (
            f"{board}: {signal} is {pin} in the profile, {pins[signal]} in the table"
        )
    assert set(expected) == set(pins) & set(SIGNALS.values())


@pytest.mark.parametrize("board", ["pico", "pico_w", "pico2", "pico2_w"])
def test_a_profile_reads_its_analogue_lines_where_and_as_the_circuit_has_them(circuit, board):
    profile, sense = load(board), profiles.HEADERS[board].sense
    scales = rules.sense_scales(circuit)
    step_v = 3.3 / 4095  # of a converter with 12 bits at the board's own supply
    for name, (pin, per_step) in (
        ("coil_current", profile.COIL_CURRENT),
        ("supply_voltage", profile.SUPPLY_VOLTAGE),
    ):
        assert pin == sense[name]
        assert per_step == pytest.approx(1e6 * step_v / scales[name], rel=2e-3)


def edited(tmp_path: Path, board: str, old: str, new: str) -> profiles.Profile:
    """The profile with one text replaced, read as the tools read it."""
    folder = tmp_path / "boards"
    shutil.copytree(BOARDS, folder)
    text = (folder / f"{board}.py").read_text()
    assert old in text
    (folder / f"{board}.py").write_text(text.replace(old, new, 1))
    return profiles.read_profile(folder / f"{board}.py")


def test_a_profile_with_another_pin_gives_another_table(circuit, hardware, tmp_path):
    profile = edited(tmp_path, "pico", "1: (2, True)", "1: (14, True)")
    table = wiring.wiring_csv(circuit, profile, SIGNALS)
    assert table != (hardware / "wiring" / "pico.csv").read_text()
    assert "valve1,GP14,19" in table


@pytest.mark.parametrize(
    ("old", "new", "told"),
    [
        ("1: (2, True)", "1: (2, False)", "active-low"),
        ('9: (10, 1, "up")', '9: (10, 0, "up")', "beam1.* 0"),
        ('11: (12, 0, "up")', '11: (12, 1, "up")', "light1.* 1"),
        ("1: (2, True)", "1: (3, True)", "pin 3 "),
        ("1: (2, True)", "1: (26, True)", "pin 26 "),
        ("1: (2, True)", "1: (20, True)", "pin 20.*firmware"),
        ("1: (2, True)", "1: (25, True)", "25.*header"),
        ("1: (2, True)", "77: (2, True)", "signal 77"),
        ("OUTPUTS =", "PUTOUTS =", "no OUTPUTS"),
    ],
)
def test_a_profile_that_does_not_fit_the_circuit_is_refused(circuit, tmp_path, old, new, told):
    with pytest.raises(ProfileError, match=told):
        wiring.wiring_rows(circuit, edited(tmp_path, "pico", old, new), SIGNALS)


def test_every_signal_of_the_wire_has_its_place_in_the_circuit(circuit):
    board = circuit.part("M1")
    assert set(SIGNALS.values()) <= set(board.pins)


def test_positions_of_the_pico_header():
    # Pin drawing of the Raspberry Pi Pico (RP2040 board datasheet, figure of the pinout; from memory): GP0 1, GP15 20,
    # GP16 21, GP22 29, GP26 31, GP28 34; grounds at 3, 8, 13, 18, 23, 28, 38 carry no GPIO.
    positions = profiles.HEADERS["pico"].positions
    assert {positions[n] for n in (0, 15, 16, 22, 26, 28)} == {"1", "20", "21", "29", "31", "34"}
    assert not {"3", "8", "13", "18", "23", "28", "38"} & set(positions.values())
    assert len(set(positions.values())) == len(positions) == 26
