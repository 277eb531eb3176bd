"""Profiles of boards: those that come with the firmware are sound, and a bad one gets a message that says what is
wrong."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from beamfall.errors import BoardProfileError, KeyProblem, UserError
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


def problems(tmp_path: Path, text: str) -> list[KeyProblem]:
    path = tmp_path / "mine.py"
    path.write_text(text)
    return list(find_problems(read_profile(path)))


@pytest.mark.parametrize("path", list_profiles(), ids=lambda path: path.stem)
def test_profiles_that_come_with_the_firmware_are_sound(path: Path) -> None:
    check_profile(find_profile(path.stem))


def test_the_pico_family_has_its_profiles() -> None:
    assert {"pico", "pico_w", "pico2"} <= {path.stem for path in list_profiles()}
    assert find_profile("pico").name == "Raspberry Pi Pico"


# A change of the Pico's profile, the key at fault, what is found there, and what the message must name beside it.
@pytest.mark.parametrize(
    ("old", "new", "key", "found", "named"),
    [
        ("1: (2, True)", "1: (7, True)", "OUTPUTS[4]", 7, ("pin 7", "valve 1", "flash 1")),
        ("11: (12, 0", "11: (10, 0", "INPUTS[11]", 10, ("pin 10", "beam 1", "flash seen")),
        ("12: (13, 0", "12: (20, 0", "ZERO_PIN", 20, ("pin 20", "button", "zero")),
        ("12: (13, 0", "12: (23, 0", "INPUTS[12]", 23, ("pin 23", "button", "supply")),
        ("ZERO_PIN = 20", "ZERO_PIN = 29", "ZERO_PIN", 29, ("pin 29", "zero", "supply voltage")),
        ("ZERO_PIN = 20", "ZERO_PIN = 40", "ZERO_PIN", 40, ("pin 40", "29")),
        ("ZERO_PIN = 20", "ZERO_PIN = 'x'", "ZERO_PIN", None, ()),
        ("12: (13, 0", "12: (25, 0", "INPUTS[12]", 25, ("pin 25", "LED")),
        ("12: (13, 0", "12: (19, 0", "OUTPUTS, INPUTS", (2, 19), ("16",)),
        ("8: (6, True)", "8: (14, True)", "OUTPUTS[8]", 14, ("camera shutter", "pin 2")),
        ("8: (6, True),  # camera shutter\n    4: (7", "8: (7, True),  # camera shutter\n    4: (6",
         "OUTPUTS[4]", 6, ("flash 1", "2 to 6")),
        ("MARK_PINS = (21, 22)", "MARK_PINS = (21,)", "MARK_PINS", None, ()),
        ("1: (2, True)", "13: (2, True)", "OUTPUTS[13]", (2, True), ("valve 1",)),
        ("1: (2, True)", "1: 2", "OUTPUTS[1]", 2, ("valve 1", "(pin, active high)")),
        ("1: (2, True)", "1: (2, 7)", "OUTPUTS[1]", 7, ("level", "0 or 1")),
        ('9: (10, 1, "up")', '9: (10, 1, "yes")', "INPUTS[9]", "yes", ("pull", '"down"')),
        ("VALVE_MAX_US = 200000", "", "VALVE_MAX_US", None, ()),
        ("VALVE_MAX_US = 200000", "VALVE_MAX_US = 2e5", "VALVE_MAX_US", 2e5, ("whole number",)),
        ("DUTY_PERCENT = 30", "DUTY_PERCENT = 130", "DUTY_PERCENT", 130, ("100",)),
        ("DUTY_PERCENT = 30", "DUTY_PERCENT = True", "DUTY_PERCENT", True, ()),
        ("WATCHDOG_MS = 8000", "WATCHDOG_MS = 9000", "WATCHDOG_MS", 9000, ("8300",)),
        ('PORT = "rp2"', 'PORT = "rp3"', "PORT", "rp3", ("rp2", "generic")),
        ('CHIP = "rp2040"', 'CHIP = "rp2"', "CHIP", "rp2", ("rp2350",)),
        ('DTR = "on"', 'DTR = "yes"', "DTR", "yes", ('"off"',)),
        ("LED = (25, True)", "LED = (25,)", "LED", (25,), ()),
        ("LED = (25, True)", "LED = (12, True)", "LED", 12, ("flash seen",)),
    ],
)  # fmt: skip
def test_what_is_wrong_is_named(
    tmp_path: Path, old: str, new: str, key: str, found: object, named: tuple[str, ...]
) -> None:
    assert PICO.count(old) == 1
    text = re.sub(re.escape(old), lambda _: new, PICO)
    there = problems(tmp_path, text)
    fitting = [
        one for one in there if (one.key, one.found, type(one.found)) == (key, found, type(found))
    ]
    assert any(all(part in one.text for part in named) for one in fitting), there


def test_a_pin_may_move_to_a_free_one(tmp_path: Path) -> None:
    assert problems(tmp_path, PICO.replace("6: (9, True)", "6: (14, True)")) == []


def test_every_problem_of_a_profile_is_in_the_error(tmp_path: Path) -> None:
    path = tmp_path / "mine.py"
    text = PICO.replace("DUTY_PERCENT = 30", "DUTY_PERCENT = 130").replace(
        "LED = (25, True)", "LED = 1"
    )
    path.write_text(text)
    with pytest.raises(BoardProfileError) as caught:
        check_profile(read_profile(path))
    assert [one.key for one in caught.value.problems] == ["DUTY_PERCENT", "LED"]
    assert all(part in str(caught.value) for part in (str(path), "DUTY_PERCENT", "130", "LED"))


def test_the_led_of_a_pico_w_is_not_there(tmp_path: Path) -> None:
    text = PICO.replace("Raspberry Pi Pico with", "Raspberry Pi Pico W with")
    (problem,) = problems(tmp_path, text)
    assert (problem.key, problem.found) == ("LED", 25) and "radio" in problem.text


def test_a_camera_contact_longer_than_a_shot_can_be_is_refused(tmp_path: Path) -> None:
    (problem,) = problems(tmp_path, PICO2.replace("CAMERA_MAX_MS = 7000", "CAMERA_MAX_MS = 8000"))
    assert (problem.key, problem.found) == ("CAMERA_MAX_MS", 8000) and "7158 ms" in problem.expected
    assert list(find_problems(find_profile("pico2"))) == []


def test_a_pull_down_on_a_pico_2_is_refused(tmp_path: Path) -> None:
    text = PICO2.replace('9: (10, 1, "up")', '9: (10, 1, "down")')
    (problem,) = problems(tmp_path, text)
    assert (problem.key, problem.found) == ("INPUTS[9]", "down")
    assert "E9" in problem.text and "8.2 kilohm" in problem.text


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
