"""A few of the signals of `stops.py`, which sends a thousand: at a command and a board drawn at random."""

from __future__ import annotations

import os
from pathlib import Path

import pytest
from command_line import BEAMFALL
from filled_folder import fill_folder
from stops import run_one

pytestmark = pytest.mark.skipif(os.name != "posix", reason="signals and terminals of POSIX")


@pytest.fixture(scope="module")
def filled(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("filled")
    fill_folder(folder)
    return folder


@pytest.mark.parametrize("number", [0, pytest.param(range(1, 20), marks=pytest.mark.full)])
def test_a_signal_at_any_moment_ends_a_command_and_leaves_nothing(
    number: int | range, filled: Path
) -> None:
    findings = [
        finding
        for one in ([number] if isinstance(number, int) else number)
        for finding in run_one(one, 11, filled, 0.5, tuple(BEAMFALL)).findings
    ]
    assert not findings, "\n".join(findings)
