"""One fault finding from the port to the finding."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING

from beamfall.errors import DefinitionMismatch, ProtocolMismatch
from beamfall.faults.bench import Bench, list_sensors
from beamfall.faults.catalogue import load_catalogue
from beamfall.faults.finder import Finder, Finding, Step
from beamfall.faults.questions import PersonGone

if TYPE_CHECKING:
    from beamfall.board import Board
    from beamfall.faults.checks import Check
    from beamfall.faults.questions import Person
    from beamfall.faults.setup import Setup


def find_faults(
    connect: Callable[[], Board],
    make_setup: Callable[[Board], Setup],
    make_person: Callable[[Board, Setup], Person],
    *,
    bare_setup: Callable[[], Setup],
    tell: Callable[[Step], None] = lambda step: None,
    begins: Callable[[Check], None] = lambda check: None,
) -> Finding:
    """Connect, look for what is wrong, let go of the port, and return what was found.

    `bare_setup` serves where the board cannot be talked to. Raises what connecting raises, except
    that a board with another firmware is a finding.
    """
    try:
        board = connect()
    except (DefinitionMismatch, ProtocolMismatch):
        finder = Finder(bare_setup(), tell=tell)
        finder.note_connection("other-firmware")
        return finder.conclude()
    with board:
        setup = make_setup(board)
        person = make_person(board, setup)
        finder = begin_finder(board, setup, tell, begins)
        finder.note_connection("opened")
        try:
            person.begin(load_catalogue().cautions_first)
        except PersonGone:  # nobody has agreed
            return finder.conclude(ended_early=True)
        return finder.run(Bench(board, setup, person))


def begin_finder(
    board: Board, setup: Setup, tell: Callable[[Step], None], begins: Callable[[Check], None]
) -> Finder:
    """A finder for a board and a setup, with the sensors that there are."""
    has_light, has_button = list_sensors(board, setup)
    return Finder(setup, has_light=has_light, has_button=has_button, tell=tell, begins=begins)
