"""A few of the signals of `stops.py`, which sends a thousand: at a command and a board drawn at random."""

from __future__ import annotations

import os
from pathlib import Path

import pytest
from command_line import BEAMFALL
from filled_folder import fill_folder
from odd_board import MODES
from stops import COMMANDS, WITHOUT_BOARD, deal, run_one

from beamfall.cli.help import list_commands

pytestmark = pytest.mark.skipif(
    os.name != "posix", reason="needs POSIX signals and terminals, which Windows lacks"
)


@pytest.fixture(scope="module")
def filled(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("filled")
    fill_folder(folder)
    return folder


def test_signals_are_sent_to_every_command_at_every_kind_of_board() -> None:
    tried = [*COMMANDS, *WITHOUT_BOARD]
    for title, _ in list_commands():
        assert any(f"{one} ".startswith(f"{title} ") for one in tried), title
    dealt = {deal(number, 1) for number in range(1000)}
    assert dealt == {
        *((command, mode) for command in COMMANDS for mode in MODES),
        *((command, "none") for command in WITHOUT_BOARD),
    }


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
