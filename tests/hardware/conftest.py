"""The hardware tools live beside the package, not in it: put them on the path, and ask for the simulator by name."""

from __future__ import annotations

import os
import shutil
import sys
from pathlib import Path

import pytest

HARDWARE = Path(__file__).resolve().parents[2] / "hardware"
sys.path.insert(0, str(HARDWARE))


@pytest.fixture(scope="session")
def hardware() -> Path:
    """The folder hardware/."""
    return HARDWARE


@pytest.fixture(scope="session")
def circuit():
    """The whole controller."""
    from circuit.netlist import build_circuit

    return build_circuit()


@pytest.fixture(scope="session")
def ngspice() -> str:
    """The simulator; missing, it is a failure in CI and a skip by name elsewhere."""
    path = shutil.which("ngspice")
    if path is None:
        if os.environ.get("CI"):
            pytest.fail("ngspice is missing in CI: .ci/run must install the Debian package ngspice")
        pytest.skip("ngspice is not installed: apt-get install ngspice")
    return path


@pytest.fixture(scope="session")
def results(ngspice):
    """All circuit studies, run once for all tests."""
    from circuit.results import run_studies

    return run_studies()
