"""One suite, every kind of board: `pytest tests/board --port URL`. On a real board nothing needs to be wired but
what a test asks for by name; a test that needs a rig at the pins skips where there is none."""

from __future__ import annotations

from beamfall.board_tools.check_plugin import (  # noqa: F401 - fixtures and a hook
    bench,
    board,
    pytest_generate_tests,
    report_folder,
    rig_at_pins,
    wires,
)
