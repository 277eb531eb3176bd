"""A controller and its double as a pair: connects them, listens to one while the other acts."""

from __future__ import annotations

import contextlib
from dataclasses import dataclass
from typing import Any, Self

from beamfall.board import Board
from beamfall.board_tools.double.coupling import couple_boards
from beamfall.board_tools.double.wiring import (
    DOUBLE_NAME,
    WIRES,
    Wire,
    find_double_profile,
    list_wires,
)
from beamfall.board_tools.errors import BenchError
from beamfall.errors import BeamfallError
from beamfall.events import Edge, Outcome
from beamfall.setup.board_profiles import Profile
from beamfall.setup.limits import BoardLimits
from beamfall.setup.sequence import Sequence

_LISTEN_S = 0.05
_LONGEST_WAIT_S = 30.0


@dataclass
class Bench:
    """Two open boards. `true_ratio`, known only in a simulation, is the double's ticks per tick of the controller."""

    controller: Board
    double: Board
    true_ratio: float | None = None

    @classmethod
    def connect(cls, port: str, double_port: str) -> Self:
        """Open both ports.

        Raises BenchError if the second is not a double or the first is one, and what Board.connect raises.
        """
        controller = Board.connect(port)
        try:
            double = Board.connect(double_port)
        except BaseException:
            controller.close()
            raise
        bench = cls(controller, double)
        try:
            bench._check_roles()
        except BaseException:
            bench.close()
            raise
        return bench

    @classmethod
    def simulate(cls, controller: Profile, **options: Any) -> Self:
        """Two simulated boards connected pin to pin; `options` as of `couple_boards`, with clocks 27 ppm apart."""
        double = find_double_profile()
        wires = list_wires(controller, double)
        pair = couple_boards((controller, double), wires, **{"ppm": (0.0, 27.0), **options})
        return cls(Board.over(pair.first), Board.over(pair.second), pair.ratio)

    def _check_roles(self) -> None:
        for board, wanted in ((self.controller, False), (self.double, True)):
            if board.info.name.startswith(DOUBLE_NAME) != wanted:
                role = "double" if wanted else "controller"
                raise BenchError(
                    f"{board.name} is '{board.info.name}', which is not a {role}: swap the two ports, or "
                    "install the double's profile (firmware/bench_double/README.md)",
                    parts=(role,),
                )
        if self.controller.info.unique_id == self.double.info.unique_id:
            raise BenchError(
                f"{self.controller.name} and {self.double.name} are the same board",
                parts=("controller", "double"),
            )

    def close(self) -> None:
        """Switch all outputs of both off and close the ports."""
        for board in (self.controller, self.double):
            with contextlib.suppress(BeamfallError):
                board.abort()
            board.close()

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def list_wires(self) -> list[Wire]:
        """Return the wires that these two boards should have, from the lines they report."""
        mine = BoardLimits.from_welcome(self.controller.info)
        lines = mine.outputs | mine.inputs
        return [
            wire
            for wire in WIRES
            if (wire.output if wire.source == "controller" else wire.input) in lines
        ]

    def shoot_watched(
        self, actor: Board, sequence: Sequence, listener: Board
    ) -> tuple[Outcome, tuple[Edge, ...]]:
        """Run a sequence on one board while the other only watches; return the outcome and what the other saw."""
        listener.take_outcomes()
        listener.watch(True)
        try:
            outcome = actor.shoot(sequence)
        finally:
            listener.watch(False)
        seen = wait_for_watch(listener)
        actor.settle()
        listener.settle()
        return outcome, seen


def wait_for_watch(board: Board) -> tuple[Edge, ...]:
    """Return the edges of a watch that has ended; raises BenchError if the board does not report it."""
    end = board.transport.clock() + _LONGEST_WAIT_S
    while board.transport.clock() < end:
        board.pump(_LISTEN_S)
        for outcome in board.take_outcomes():
            if outcome.done.activity.name == "watch":
                if not outcome.complete or outcome.done.edges_lost:
                    raise BenchError(f"{board.name} lost edges during a watch; try again")
                return outcome.edges
    raise BenchError(f"{board.name} has not reported the end of a watch")
