"""Options of the whole suite."""

from __future__ import annotations

import os

import pytest


def pytest_addoption(parser: pytest.Parser) -> None:
    group = parser.getgroup("beamfall")
    group.addoption(
        "--port",
        action="append",
        default=None,
        help="port of a board for tests/board: sim, sim:micropython, a serial port or any pyserial URL; "
        "may be given several times (default: sim and sim:micropython)",
    )


def pytest_report_header() -> str:
    return f"CI: {'yes' if os.environ.get('CI') else 'no'}"
