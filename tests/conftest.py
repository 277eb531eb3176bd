"""Options of the whole suite."""

from __future__ import annotations

import os
import sys
from collections.abc import Callable

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


@pytest.fixture
def count_calls() -> Callable[[Callable[[], object]], int]:
    """What a piece of work costs, whatever the machine: the calls that Python makes and returns from."""

    def measure(work: Callable[[], object]) -> int:
        calls = 0

        def count(*_: object) -> None:
            nonlocal calls
            calls += 1

        before = sys.getprofile()
        sys.setprofile(count)
        try:
            work()
        finally:
            sys.setprofile(before)
        return calls

    return measure
