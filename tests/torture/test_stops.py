"""A few of the signals of `stops.py`, which sends a thousand: at a command and a board drawn at random."""

from __future__ import annotations

import os

import pytest
from command_line import BEAMFALL
from stops import Tally, run_one

pytestmark = pytest.mark.skipif(os.name != "posix", reason="signals and terminals of POSIX")


@pytest.mark.parametrize("number", [0, pytest.param(range(1, 20), marks=pytest.mark.full)])
def test_a_signal_at_any_moment_ends_a_command_and_leaves_nothing(number: int | range) -> None:
    tally = Tally()
    for one in [number] if isinstance(number, int) else number:
        run_one(one, 11, tally, tuple(BEAMFALL))
    assert not tally.findings, "\n".join(tally.findings)
