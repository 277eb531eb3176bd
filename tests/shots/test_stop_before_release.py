"""Nothing is released after a stop was asked for, whatever the program is waiting for.

The stop is a real SIGINT, raised while the simulated board's clock passes a given moment. Afterwards the board
is given another minute: a release that was only postponed would happen then.
"""

from __future__ import annotations

import contextlib
import signal
from collections.abc import Callable
from typing import Any

import pytest

from beamfall.board import Board
from beamfall.errors import LinkLost, Refused
from beamfall.interrupts import StopSignals, hold_interrupts
from beamfall.link import Link
from beamfall.setup.sequence import Row, Sequence
from beamfall.setup.signals import Signal
from beamfall.shots import ShotLog
from beamfall.sim.build import build_rig
from beamfall.sim.embedded import SimulatedTransport
from beamfall.sim.rig import SimulatedRig
from beamfall.workflows.series import Shooter

# Ten openings of 190 ms use up the valve's duty: the next shot has to wait for seconds.
LONG_OPENINGS = Sequence(
    rows=(
        *(Row("release", 0, "valve1", 0.1 + 0.2 * number, 0.19) for number in range(10)),
        Row("release", 0, "flash1", 2.2, 0.002),
    ),
    window_s=0.0,
    blanking_s=0.0,
)
ONE_OPENING = Sequence(
    rows=(Row("release", 0, "valve1", 0.1, 0.013),), window_s=0.0, blanking_s=0.0
)


class _Witness(SimulatedRig):
    def __init__(self, *arguments: Any) -> None:
        super().__init__(*arguments)
        self.switched_on: list[int] = []

    def drive(self, output: int, level: int, ticks: int) -> None:
        if level:
            self.switched_on.append(output)
        super().drive(output, level, ticks)


class _Line(SimulatedTransport):
    """A port that raises SIGINT at a moment of its own clock, and may lose what is sent from then on."""

    def __init__(self) -> None:
        self.witness = _Witness(build_rig(None, 1).model, 1)
        super().__init__(self.witness, seed=1)
        self.stop_at_s = float("inf")
        self.swallows = False
        self.deaf_from_s = self.deaf_until_s = float("inf")
        self.lost_at_s = self.silent_from_s = float("inf")

    def read(self, timeout_s: float) -> bytes:
        if self.clock() >= self.lost_at_s:
            raise LinkLost("the plug was pulled")
        found = super().read(timeout_s)
        if self.clock() >= self.stop_at_s:
            self.stop_at_s = float("inf")
            with (
                contextlib.suppress(KeyboardInterrupt)
                if self.swallows
                else contextlib.nullcontext()
            ):
                signal.raise_signal(signal.SIGINT)
        return found if self.clock() < self.silent_from_s else b""

    def write(self, data: bytes) -> None:
        if self.clock() >= self.lost_at_s:
            raise LinkLost("the plug was pulled")
        if not self.deaf_from_s <= self.clock() < self.deaf_until_s:
            super().write(data)


@pytest.fixture
def line() -> _Line:
    return _Line()


def _fire(line: _Line, log: ShotLog, sequence: Sequence, prepare: Callable[[], None]) -> None:
    """Fire once, then prepare the trouble, fire again and expect to be stopped."""
    board = Board(Link(line, acknowledge_on_receipt=False))
    shooter = Shooter.begin(board, log, "shoot", rig=None)
    assert shooter.fire(sequence).state == "fired"
    line.witness.switched_on.clear()
    prepare()
    with pytest.raises(KeyboardInterrupt), board:
        shooter.fire(sequence)
    line.deaf_until_s = line.lost_at_s = float("inf")
    line.deaf_from_s = float("inf")
    line.sleep(60.0)


def test_while_the_duty_of_the_valve_is_waited_for(line: _Line, log: ShotLog) -> None:
    def stop_soon() -> None:
        line.stop_at_s = line.clock() + 1.0
        line.close = lambda: None  # type: ignore[method-assign]  # the board lives on

    _fire(line, log, LONG_OPENINGS, stop_soon)
    names = {Signal(one).name for one in line.witness.switched_on}
    assert not names, f"switched on after the stop: {names}"
    newest = log.list_shots(limit=1)[0]
    assert (newest.shown_state, newest.cause) == ("not-released", "interrupted")


def test_while_the_board_does_not_answer(line: _Line, log: ShotLog) -> None:
    """The release was lost on the line; sending it again after the stop would fire the shot."""

    def go_deaf() -> None:
        line.deaf_from_s, line.deaf_until_s = line.clock(), line.clock() + 1.0
        line.stop_at_s = line.clock() + 0.6
        line.close = lambda: None  # type: ignore[method-assign]

    _fire(line, log, ONE_OPENING, go_deaf)
    assert not line.witness.switched_on, "released after the stop"
    newest = log.list_shots(limit=1)[0]
    assert (newest.shown_state, newest.cause) == ("not-released", "interrupted")


def test_while_the_port_is_gone(line: _Line, log: ShotLog) -> None:
    """A plug that comes back after the stop must not bring the release with it."""
    tried: list[float] = []

    def reconnect() -> _Line:
        tried.append(line.clock())
        if len(tried) == 3:
            signal.raise_signal(signal.SIGINT)
        if len(tried) < 4:
            raise LinkLost("not there yet")
        line.lost_at_s = float("inf")
        return line

    line.close = lambda: None  # type: ignore[method-assign]
    board = Board(Link(line, acknowledge_on_receipt=False, reconnect=reconnect))
    shooter = Shooter.begin(board, log, "shoot", rig=None)
    ticketed: list[int] = []
    arm = board.arm

    def arm_and_pull(sequence: Sequence) -> Any:
        ticket = arm(sequence)
        ticketed.append(ticket.release)
        line.lost_at_s = line.clock()
        return ticket

    board.arm = arm_and_pull  # type: ignore[method-assign]
    with pytest.raises(KeyboardInterrupt), board:
        shooter.fire(ONE_OPENING)
    line.sleep(60.0)
    assert ticketed and not line.witness.switched_on, "released after the stop"


def test_at_a_board_that_never_reports_the_end(line: _Line, log: ShotLog) -> None:
    """The shot was released and the board falls silent: the stop must not wait for it (D1)."""
    line.close = lambda: None  # type: ignore[method-assign]
    board = Board(Link(line, acknowledge_on_receipt=False))
    shooter = Shooter.begin(board, log, "shoot", rig=None)
    release = board.release

    def release_and_fall_silent(*arguments: Any, **options: Any) -> None:
        release(*arguments, **options)
        line.silent_from_s = line.clock()
        line.stop_at_s = line.clock() + 0.5

    board.release = release_and_fall_silent  # type: ignore[method-assign]
    with pytest.raises(KeyboardInterrupt) as stopped, board:
        shooter.fire(ONE_OPENING)
    waited_s = line.clock() - line.silent_from_s - 0.5
    assert waited_s < 2.0, "by the clock of the port"
    assert stopped.value.__notes__, "that the outputs may be on was not said"
    assert log.list_shots(limit=1)[0].shown_state == "outcome unknown"


def test_at_a_board_that_asks_for_hours_of_rest(line: _Line, log: ShotLog) -> None:
    """`too_soon` with an absurd detail must not hold the stop up (D1)."""
    line.close = lambda: None  # type: ignore[method-assign]
    board = Board(Link(line, acknowledge_on_receipt=False))
    shooter = Shooter.begin(board, log, "shoot", rig=None)
    asked: list[float] = []

    def refuse(name: str, *arguments: Any, **fields: Any) -> Any:
        if name != "release":
            return request(name, *arguments, **fields)
        asked.append(line.clock())
        line.stop_at_s = line.clock() + 0.3
        raise Refused("release", "too_soon", detail=2**32 - 1)

    request = board._request
    board._request = refuse  # type: ignore[method-assign]
    with pytest.raises(KeyboardInterrupt), board:
        shooter.fire(ONE_OPENING)
    assert len(asked) == 1
    assert line.clock() - asked[0] < 2.0
    assert not line.witness.switched_on


ACTIONS: dict[str, Callable[[Board, Shooter], object]] = {
    "release": lambda board, shooter: shooter.fire(ONE_OPENING),
    "rest": lambda board, shooter: shooter.rest(60.0),
    "drip": lambda board, shooter: board.drip(1, 0.013),
    "flash": lambda board, shooter: board.test_flash(1, 0.002),
    "rinse": lambda board, shooter: board.rinse(1, 4.0, lambda seconds: True),
}


@pytest.mark.parametrize("action", ACTIONS)
def test_also_where_a_library_has_swallowed_the_stop(
    line: _Line, log: ShotLog, action: str
) -> None:
    """A bare `except` or a `__del__` in somebody else's code loses the interrupt, but not the request to stop."""
    line.close = lambda: None  # type: ignore[method-assign]
    line.swallows = True
    board = Board(Link(line, acknowledge_on_receipt=False))
    shooter = Shooter.begin(board, log, "shoot", rig=None)
    ended: list[int] = []
    with pytest.raises(KeyboardInterrupt), StopSignals(ended.append), board:  # noqa: PT012
        line.stop_at_s = line.clock()
        board.status()
        ACTIONS[action](board, shooter)
    line.sleep(60.0)
    assert not line.witness.switched_on, "acted after the stop"


def test_a_program_in_the_background_holds_other_signals_back(line: _Line) -> None:
    """A shell starts it with SIGINT ignored; SIGTERM must not cut a shot from its row in the log."""
    before = signal.signal(signal.SIGINT, signal.SIG_IGN)
    steps: list[str] = []
    try:
        with StopSignals(lambda status: None), pytest.raises(KeyboardInterrupt):  # noqa: PT012
            with hold_interrupts():
                signal.raise_signal(signal.SIGTERM)
                steps.append("whole")
            steps.append("not here")
    finally:
        signal.signal(signal.SIGINT, before)
    assert steps == ["whole"]


def test_after_a_stop_between_a_release_and_its_answer_the_next_shot_is_released(
    line: _Line, log: ShotLog
) -> None:
    """The board has used the number of a release whose answer was lost."""
    board = Board(Link(line, acknowledge_on_receipt=False))
    shooter = Shooter.begin(board, log, "shoot", rig=None)
    shooter.fire(ONE_OPENING)
    ticket = board.arm(ONE_OPENING)
    read = line.read

    def read_until_released(timeout_s: float) -> bytes:
        found = read(timeout_s)
        if line._board.controller.last_release == ticket.release:
            line.read = read  # type: ignore[method-assign]
            raise KeyboardInterrupt
        return found

    line.read = read_until_released  # type: ignore[method-assign]
    with pytest.raises(KeyboardInterrupt):
        board.release(ticket)
    board.abort()
    assert shooter.fire(ONE_OPENING).state == "fired"
