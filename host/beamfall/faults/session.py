"""Fault finding on a board that is connected, and on one that cannot be."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING

from beamfall.errors import DefinitionMismatch, ProtocolMismatch
from beamfall.faults.catalogue import load_catalogue
from beamfall.faults.fault_rig import FaultRig, list_sensors
from beamfall.faults.finder import Finder, Finding, Step
from beamfall.faults.questions import PersonGone

# What connecting to a board with another firmware raises.
OTHER_FIRMWARE = (DefinitionMismatch, ProtocolMismatch)

if TYPE_CHECKING:
    from beamfall.board import Board
    from beamfall.faults.checks import Check
    from beamfall.faults.questions import Person
    from beamfall.faults.setup import Setup


def name_firmware(setup: Setup) -> Finding:
    """What is found where connecting raised one of OTHER_FIRMWARE."""
    finder = Finder(setup)
    finder.note_connection("other-firmware")
    return finder.conclude()


def look(
    board: Board,
    setup: Setup,
    person: Person,
    *,
    tell: Callable[[Step, list[tuple[str, float]]], None] = lambda step, ranked: None,
    begins: Callable[[Check], None] = lambda check: None,
) -> Finding:
    """Look for what is wrong, with the sensors that there are, once somebody has agreed.

    `begins` is called before each test, `tell` after it, with what the test showed and the causes with their chances.
    """
    has_light, has_button = list_sensors(board, setup)
    finder = Finder(
        setup,
        has_light=has_light,
        has_button=has_button,
        has_coil=board.reads_coils,
        tell=lambda step: tell(step, finder.belief.rank()),
        begins=begins,
    )
    finder.note_connection("opened")
    try:
        person.begin(load_catalogue().cautions_first)
    except PersonGone:  # nobody has agreed
        return finder.conclude(ended_early=True)
    return finder.run(FaultRig(board, setup, person))
