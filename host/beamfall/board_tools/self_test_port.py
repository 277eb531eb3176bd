"""Opening a board for the self-test: a simulated one gets a jumper wire in the place of a rig."""

from __future__ import annotations

from beamfall.board import Board
from beamfall.board_tools.jumper import JumperRig
from beamfall.errors import UserError
from beamfall.link import Link, Transport
from beamfall.link.open_port import parse_port
from beamfall.setup.signals import Signal


def open_for_self_test(port: str | None, source: str, beam: str) -> tuple[Board, bool]:
    """Return the board, and whether it is a simulated one."""
    name = parse_port(port) if port is not None else None
    if name is None:
        return Board.connect(port), False
    try:
        rig = JumperRig(Signal.of(source), Signal.of(beam))
    except LookupError as error:
        raise UserError(str(error)) from error
    transport: Transport
    if name.kind == "sim:micropython":
        from beamfall.sim.interpreter import MicroPythonTransport

        transport = MicroPythonTransport(rig, seed=name.seed or 0, name=name.kind)
    else:
        from beamfall.sim.embedded import SimulatedTransport

        transport = SimulatedTransport(rig, seed=name.seed or 0, name=name.kind)
    link = Link(transport, acknowledge_on_receipt=False)
    try:
        link.open()
        return Board(link), True
    except BaseException:
        link.close()
        raise
