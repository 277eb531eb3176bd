"""A simulated board and a short sequence for tests of pictures that arrive."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from beamfall.board import Board
from beamfall.photos.arrival import Arrivals
from beamfall.setup.rig import example_rig
from beamfall.setup.sequence import Row, Sequence
from beamfall.shots import ShotLog
from beamfall.workflows.run import PythonFrontEnd, Runner
from beamfall.workflows.shoot import shoot
from beamfall.workflows.steps import AwaitingPicture, Event, Fired, Pictured, PictureLate

# One drop, one flash, and the shutter around both: invented for tests.
SEQUENCE = Sequence(
    rows=(
        Row("release", 0, "shutter", 0.001, 0.3),
        Row("release", 0, "valve1", 0.01, 0.01),
        Row("release", 0, "flash1", 0.2, 0.002),
    ),
    name="one drop, for tests",
)


class Bench:
    """Fires shots whose pictures arrive, and keeps what was shown."""

    def __init__(self, board: Board, log: ShotLog, arrivals: Arrivals) -> None:
        self.board, self.log, self.arrivals = board, log, arrivals
        self.shown: list[Event] = []
        self.on_wait: Callable[[int], object] = lambda shot: None
        self.answers: list[str] = []
        self.asked: list[Any] = []

    def shoot(self, count: int = 1) -> list[Fired]:
        def answer(question: Any) -> str:
            self.asked.append(question)
            return self.answers.pop(0) if self.answers else question.otherwise

        def show(event: Event) -> None:
            self.shown.append(event)
            if isinstance(event, AwaitingPicture):
                self.on_wait(event.shot)

        front_end = PythonFrontEnd(answer, show)
        runner = Runner(self.board, self.log, front_end, arrivals=self.arrivals)
        return runner.run(shoot(example_rig(), SEQUENCE, count, warm_up=False))

    @property
    def problems(self) -> list[Any]:
        """Why shots have no picture; None for those that have one."""
        return [
            None if one.problem is None else one.problem.problem
            for one in self.shown
            if isinstance(one, Pictured)
        ]

    @property
    def remarks(self) -> list[str]:
        return [text for one in self.shown if isinstance(one, Pictured) for text in one.remarks]

    @property
    def late(self) -> list[Any]:
        return [one.late for one in self.shown if isinstance(one, PictureLate)]

    def pictures(self) -> dict[int, str | None]:
        """The pictures in the log, by shot."""
        return {
            line.shot: None if line.picture is None else Path(line.picture).name
            for line in self.log.list_shots(limit=None)
        }


@contextmanager
def open_bench(folder: Path, arrivals: Arrivals) -> Iterator[Bench]:
    with (
        ShotLog.open(folder / "shots.sqlite3") as log,
        arrivals,
        Board.connect("sim", rig=example_rig(), seed=1) as board,
    ):
        arrivals.open()
        yield Bench(board, log, arrivals)
