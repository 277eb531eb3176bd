"""The hardware tools live beside the package, not in it: put them on the path, and ask for the simulator by name."""

from __future__ import annotations

import sys
from pathlib import Path

import pytest
from needs import need_program

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
    """The simulator."""
    return need_program("ngspice", "apt-get install ngspice, or your system's package")


@pytest.fixture(scope="session")
def results(ngspice):
    """All circuit studies, run once for all tests."""
    from circuit.results import run_studies

    return run_studies()
