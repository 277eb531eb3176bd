"""How many shots may be asked for: the same at the terminal and on the page."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

from beamfall.cli import main
from beamfall.errors import UserError
from beamfall.page import jobs
from beamfall.setup.rig import EXAMPLE

ASKED: dict[str, tuple[list[str], Callable[[int], object]]] = {
    "shoot": (["shoot", "--port", "sim", "--count"], jobs.make_release),
    "repeat": (
        ["shots", "repeat", "1", "--port", "sim", "--count"],
        lambda n: jobs.make_repeat(1, n),
    ),
    "calibrate": (
        ["calibrate", "--port", "sim", "--count"],
        lambda n: jobs.make_calibrate(n, "0.3 mm"),
    ),
    "seek": (["seek", "--port", "sim", "--shots"], lambda n: jobs.make_seek("", n, False, True)),
}


@pytest.mark.parametrize("count", [-1, 0, 10_001, 2**70])
@pytest.mark.parametrize("what", list(ASKED))
def test_too_few_and_too_many_are_refused_alike(what: str, count: int) -> None:
    words, make = ASKED[what]
    assert main([*words, str(count)]) == 2
    with pytest.raises(UserError):
        make(count)


@pytest.mark.parametrize("words", [["camera"], ["drops", "--weighed", "0.07 g"]])
def test_the_camera_and_weighed_drops_take_three_at_least(words: list[str], tmp_path: Path) -> None:
    rig = tmp_path / "rig.toml"
    text = EXAMPLE.read_text(encoding="utf-8")
    rig.write_text(text.replace("[camera]", '[camera]\nsync_input = "beam2"'), encoding="utf-8")
    assert main(["calibrate", *words, str(rig), "--port", "sim", "--count", "2"]) == 2


def test_a_calibration_takes_eight_at_least() -> None:
    words, make = ASKED["calibrate"]
    assert main([*words, "7"]) == 2
    with pytest.raises(UserError):
        make(7)
    make(8)
