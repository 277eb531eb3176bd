"""A fault finding on a simulated rig, for these tests."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import pytest
from finding import find_faults

from beamfall.board import Board
from beamfall.faults.finder import Finding
from beamfall.faults.setup import Setup, make_setup
from beamfall.setup.rig import example_rig
from beamfall.sim.person import SimulatedPerson
from beamfall.sim.room import Room

Diagnose = Callable[..., Finding]


@pytest.fixture(scope="session")
def setup() -> Setup:
    return make_setup(example_rig())


@pytest.fixture(scope="session")
def diagnose(setup: Setup) -> Diagnose:
    """diagnose(faults, seed, wrong=0.0): the finding for a simulated rig with these faults."""

    def run(faults: str, seed: int, wrong: float = 0.0) -> Finding:
        return find_faults(
            lambda: Board.connect(f"sim?fault={faults}" if faults else "sim", seed=seed),
            lambda board: replace(
                setup, sequence=board.transport.rig.set_by_photographer(setup.sequence)
            ),
            lambda board, _: SimulatedPerson(
                Room(board.transport.rig), wrong_share=wrong, seed=f"{seed}/{faults}"
            ),
            bare_setup=lambda: setup,
        )

    return run
