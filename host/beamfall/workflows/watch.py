"""Watches a beam live, to align it, until somebody says that it is enough."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field

from beamfall.board import Board
from beamfall.events import Edge, EdgesSeen
from beamfall.setup.signals import Signal, SignalKind
from beamfall.shots.pulses import PulseReader
from beamfall.workflows.steps import Ask, Question, Workflow

STOP = "stop"
_ASK_S = 0.5  # how often the board is asked for the beam's state; its silence would end the watch
_DROP_EVERY_S = 0.8  # from one drop's end to the next drop


@dataclass
class BeamView:
    """What is known about a beam; dwells in s."""

    number: int
    clock_hz: int
    is_dark: bool = False
    count: int = 0
    dwell_s: float | None = None
    longest_s: float = 0.0
    _reader: PulseReader = field(default_factory=PulseReader)

    @property
    def beam(self) -> Signal:
        """The beam looked at."""
        return SignalKind.BEAM.nth(self.number)

    def begin(self) -> None:
        """Start a new record, which has its own clock."""
        self._reader.finish()

    def take(self, edges: tuple[Edge, ...]) -> None:
        """Take in edges in the order of their times."""
        for edge in edges:
            if edge.signal is not self.beam:
                continue
            self.is_dark = bool(edge.level)
            self.count += edge.level
            pulse = self._reader.feed(edge.ticks, bool(edge.level))
            if pulse is not None and pulse.length is not None:
                self.dwell_s = pulse.length / self.clock_hz
                self.longest_s = max(self.longest_s, self.dwell_s)


@dataclass(frozen=True)
class EnoughSeen(Question[str]):
    """Has enough been seen? Until it has, `listen` is called again and again; it waits that many seconds for edges."""

    view: BeamView
    listen: Callable[[float], None]
    choices = (STOP,)

    def read(self, text: str) -> str:
        return STOP


def watch(board: Board, beam: int = 1, drops: tuple[int, float] | None = None) -> Workflow[None]:
    """Watch a beam (1 or 2). `drops`: the valve, and its opening in s, of drops that fall meanwhile."""
    view = BeamView(beam, board.info.clock_hz)
    asked_s = next_drop_s = float("-inf")

    def take(seconds: float) -> None:
        for event in board.pump(seconds):
            if isinstance(event, EdgesSeen):
                view.take(event.edges)

    def end() -> None:
        board.watch(False)
        take(0.05)
        board.take_outcomes()
        board.settle()
        view.begin()

    def listen(seconds: float) -> None:
        nonlocal asked_s, next_drop_s
        now_s = board.transport.clock()
        if drops is not None and now_s >= next_drop_s:
            end()
            view.take(board.drip(*drops).edges)
            board.settle()
            view.begin()
            board.watch(True)
            next_drop_s = board.transport.clock() + _DROP_EVERY_S
        take(seconds)
        if (now_s := board.transport.clock()) - asked_s >= _ASK_S:
            asked_s = now_s
            view.is_dark = bool(board.status().beams_dark >> (beam - 1) & 1)

    board.watch(True)
    try:
        yield Ask(EnoughSeen(view, listen))
    except BaseException:
        board.abort()  # first of all: a drop may be falling
        raise
    end()
