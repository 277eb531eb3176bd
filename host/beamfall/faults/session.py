"""One fault finding from the port to the finding."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING

from beamfall.errors import DefinitionMismatch, ProtocolMismatch
from beamfall.faults.bench import Bench
from beamfall.faults.finder import Finder, Finding, Step
from beamfall.faults.questions import CAUTIONS

if TYPE_CHECKING:
    from beamfall.board import Board
    from beamfall.faults.questions import Person
    from beamfall.faults.setup import Setup

_LIGHT, _BUTTON = 11, 12  # signals, protocol/messages.toml


def find_faults(
    connect: Callable[[], Board],
    make_setup: Callable[[Board], Setup],
    make_person: Callable[[Board, Setup], Person],
    *,
    bare_setup: Callable[[], Setup],
    tell: Callable[[Step], None] = lambda step: None,
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
        finder = Finder(
            setup,
            has_light=board.info.has_input(_LIGHT),
            has_button=board.info.has_input(_BUTTON),
            tell=tell,
        )
        finder.note_connection("opened")
        bench = Bench(board, setup, person)
        person.begin(CAUTIONS)
        return finder.run(bench)
