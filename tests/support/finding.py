"""One fault finding from the port to the finding, as `beamfall check` makes it."""

from __future__ import annotations

from collections.abc import Callable

from beamfall.board import Board
from beamfall.faults.finder import OTHER_FIRMWARE, Finding, look, name_firmware
from beamfall.faults.questions import Person
from beamfall.faults.setup import Setup


def find_faults(
    connect: Callable[[], Board],
    make_setup: Callable[[Board], Setup],
    make_person: Callable[[Board, Setup], Person],
    *,
    bare_setup: Callable[[], Setup],
) -> Finding:
    """Connect, look for what is wrong, close the port, and return what was found.

    `bare_setup` is used if the board cannot be reached. Raises what connecting raises, but a board with
    another firmware is a finding, not an error.
    """
    try:
        board = connect()
    except OTHER_FIRMWARE:
        return name_firmware(bare_setup())
    with board:
        setup = make_setup(board)
        return look(board, setup, make_person(board, setup))
