"""Profiles of boards: those that come with the firmware are sound, and a bad one gets a message that says what is
wrong."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from beamfall.errors import BoardProfileError, UserError
from beamfall.resources import find_firmware
from beamfall.setup.board_profiles import (
    check_profile,
    find_problems,
    find_profile,
    list_profiles,
    read_profile,
)

PICO = (find_firmware() / "boards" / "pico.py").read_text()
PICO2 = (find_firmware() / "boards" / "pico2.py").read_text()


def problems(tmp_path: Path, text: str) -> list[str]:
    path = tmp_path / "mine.py"
    path.write_text(text)
    return list(find_problems(read_profile(path)))


@pytest.mark.parametrize("path", list_profiles(), ids=lambda path: path.stem)
def test_profiles_that_come_with_the_firmware_are_sound(path: Path) -> None:
    check_profile(find_profile(path.stem))


def test_the_pico_family_has_its_profiles() -> None:
    assert {"pico", "pico_w", "pico2"} <= {path.stem for path in list_profiles()}
    assert find_profile("pico").name == "Raspberry Pi Pico"


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ("1: (2, True)", "1: (7, True)", r"pin 7 is used twice: for valve 1 and for flash 1"),
        ("11: (12, 0", "11: (10, 0", r"pin 10 is used twice: for beam 1 and for flash seen"),
        ("12: (13, 0", "12: (20, 0", r"pin 20 is used twice: for button and for the common zero"),
        ("12: (13, 0", "12: (23, 0", r"pin 23 cannot be used for button: it switches the mode"),
        ("ZERO_PIN = 20", "ZERO_PIN = 29", r"pin 29 cannot be used for the common zero"),
        ("ZERO_PIN = 20", "ZERO_PIN = 40", r"GPIOs are numbers from 0 to 29"),
        ("ZERO_PIN = 20", "ZERO_PIN = 'x'", r"ZERO_PIN is missing"),
        ("12: (13, 0", "12: (25, 0", r"it is the board's own LED"),
        ("12: (13, 0", "12: (19, 0", r"must lie within 16 in a row"),
        ("6: (9, True)", "6: (14, True)", None),
        ("8: (6, True)", "8: (14, True)", r"pin 14 \(camera shutter\) is too far from pin 2"),
        ("8: (6, True),  # camera shutter\n    4: (7", "8: (7, True),  # camera shutter\n    4: (6",
         r"pin 6 \(flash 1\) lies among pins 2 to 6.*"),
        ("MARK_PINS = (21, 22)", "MARK_PINS = (21,)", r"MARK_PINS is missing"),
        ("1: (2, True)", "13: (2, True)", r"OUTPUTS\[13\]: there is no such signal"),
        ("1: (2, True)", "1: 2", r"OUTPUTS\[1\] \(valve 1\) is 2; it must be \(pin, active high\)"),
        ("1: (2, True)", "1: (2, 7)", r"the level is 7"),
        ('9: (10, 1, "up")', '9: (10, 1, "yes")', r"the pull is 'yes'"),
        ("VALVE_MAX_US = 200000", "", r"VALVE_MAX_US is missing"),
        ("VALVE_MAX_US = 200000", "VALVE_MAX_US = 2e5", r"VALVE_MAX_US is 200000.0; it must be a whole number"),
        ("DUTY_PERCENT = 30", "DUTY_PERCENT = 130", r"DUTY_PERCENT is 130"),
        ("DUTY_PERCENT = 30", "DUTY_PERCENT = True", r"DUTY_PERCENT is True"),
        ("WATCHDOG_MS = 8000", "WATCHDOG_MS = 9000", r"WATCHDOG_MS is 9000"),
        ('PORT = "rp2"', 'PORT = "rp3"', r"PORT is 'rp3'"),
        ('CHIP = "rp2040"', 'CHIP = "rp2"', r"CHIP is 'rp2'"),
        ('DTR = "on"', 'DTR = "yes"', r"DTR is 'yes'"),
        ("LED = (25, True)", "LED = (25,)", r"LED is \(25,\)"),
        ("LED = (25, True)", "LED = (12, True)", r"pin 12 is used twice: for flash seen and for the LED"),
    ],
)  # fmt: skip
def test_what_is_wrong_is_named(tmp_path: Path, old: str, new: str, said: str | None) -> None:
    assert PICO.count(old) == 1
    text = re.sub(re.escape(old), lambda _: new, PICO)
    found = problems(tmp_path, text)
    if said is None:
        assert found == []
    else:
        assert any(re.search(said, problem) for problem in found), found


def test_the_led_of_a_pico_w_is_not_there(tmp_path: Path) -> None:
    text = PICO.replace("Raspberry Pi Pico with", "Raspberry Pi Pico W with")
    assert problems(tmp_path, text) == [
        "pin 25 cannot be used for the LED: it belongs to the radio chip"
    ]


def test_a_camera_contact_longer_than_a_shot_can_be_is_refused(tmp_path: Path) -> None:
    (problem,) = problems(tmp_path, PICO2.replace("CAMERA_MAX_MS = 7000", "CAMERA_MAX_MS = 8000"))
    assert "CAMERA_MAX_MS" in problem and "8000" in problem and "7158 ms" in problem
    assert list(find_problems(find_profile("pico2"))) == []


def test_a_pull_down_on_a_pico_2_is_refused(tmp_path: Path) -> None:
    text = PICO2.replace('9: (10, 1, "up")', '9: (10, 1, "down")')
    (problem,) = problems(tmp_path, text)
    assert "E9" in problem and "8.2 kilohm" in problem


def test_a_profile_is_read_and_never_run(tmp_path: Path) -> None:
    mark = tmp_path / "was_here"
    for line in (
        f"open({str(mark)!r}, 'w').close()",
        f"NAME = open({str(mark)!r}, 'w').close()",
        "import os",
        "NAME = 'a' + 'b' * 3",
        "A = B = 1",
        "if True:\n    NAME = 1",
        "NAME = " + "[" * 5000 + "]" * 5000,
        "NAME = {[]: 1}",
        "NAME = (",
        "\0",
    ):
        path = tmp_path / "bad.py"
        path.write_text(line)
        with pytest.raises(BoardProfileError) as raised:
            read_profile(path)
        assert str(path) in str(raised.value)
    assert not mark.exists()


def test_a_profile_may_share_with_another(tmp_path: Path) -> None:
    path = tmp_path / "mine.py"
    path.write_text("from boards.pico import OUTPUTS\nNAME = 'mine'\n")
    assert read_profile(path).constants["OUTPUTS"] == find_profile("pico").constants["OUTPUTS"]
    for line in ("from os import environ", "from boards.pico import *", "from boards.pico import NAME as N",
                 "from boards.mine import NAME", "from .pico import NAME", "from boards.pico import PINS"):  # fmt: skip
        path.write_text(line)
        with pytest.raises(BoardProfileError):
            read_profile(path)


def test_all_problems_are_told_at_once(tmp_path: Path) -> None:
    path = tmp_path / "empty.py"
    path.write_text("")
    with pytest.raises(BoardProfileError, match=r"NAME.*OUTPUTS"):
        check_profile(read_profile(path))


def test_an_unknown_board_names_those_there_are() -> None:
    with pytest.raises(UserError, match="picco.*pico2"):
        find_profile("picco")
    with pytest.raises(BoardProfileError, match="/nowhere/mine.py"):
        find_profile("/nowhere/mine.py")
