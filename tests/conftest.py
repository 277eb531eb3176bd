"""Options of the whole suite."""

from __future__ import annotations

import os

import pytest
from hypothesis import HealthCheck, settings

# How long an example takes is the machine's matter, and a busy one takes long for some.
settings.register_profile(
    "patient", parent=settings(), deadline=None, suppress_health_check=[HealthCheck.too_slow]
)
settings.load_profile("patient")


def pytest_addoption(parser: pytest.Parser) -> None:
    group = parser.getgroup("beamfall")
    group.addoption(
        "--port",
        action="append",
        default=None,
        help="port of a board for tests/board: sim, sim:micropython, a serial port or any pyserial URL; "
        "may be given several times (default: sim and sim:micropython)",
    )
    group.addoption(
        "--double",
        default=None,
        help="port of a bench double wired to the board at --port (firmware/bench_double/README.md); "
        "default: two simulated boards connected pin to pin",
    )
    group.addoption(
        "--bench-report",
        default=None,
        help="folder for the report of the shots against the double (default with --double: bench_report)",
    )


def pytest_report_header() -> str:
    return f"CI: {'yes' if os.environ.get('CI') else 'no'}"
