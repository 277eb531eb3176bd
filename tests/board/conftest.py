"""One suite for every kind of board: `pytest tests/board --port URL`. A real board needs no wires, except for the tests
that ask for them by name; a test that needs a rig at the pins is skipped where there is none."""

from __future__ import annotations

from beamfall.board_tools.check_plugin import (  # noqa: F401 - fixtures and a hook
    bench,
    board,
    pytest_generate_tests,
    report_folder,
    rig_at_pins,
    wires,
)
