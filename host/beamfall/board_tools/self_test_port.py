"""Opens a board for the self-test: on a port with its own rig, a jumper wire replaces the rig."""

from __future__ import annotations

from beamfall.board import Board
from beamfall.errors import UserError
from beamfall.link import Link
from beamfall.ports import brings_rig, open_jumpered
from beamfall.setup.signals import Signal


def open_for_self_test(port: str | None, source: str, beam: str) -> Board:
    """Return the board, with the wire connected if the port can do that."""
    if port is None or not brings_rig(port):
        return Board.connect(port)
    try:
        ends = Signal.of(source), Signal.of(beam)
    except LookupError as error:
        raise UserError(str(error)) from error
    link = Link(open_jumpered(port, *ends), acknowledge_on_receipt=False)
    try:
        link.open()
        return Board(link)
    except BaseException:
        link.close()
        raise
