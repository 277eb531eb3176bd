"""Runs workflows. Everything that a shot needs besides its sequence is done here, for every front end alike.

The runner warns before the first flash, begins the series in the log, lets warm-up drops
fall, rests between shots, waits for the flash to recycle, and fires through `series.Shooter`, which keeps the log true
under Ctrl-C. What interrupts a step (Ctrl-C, an abort on the page, a lost board) is raised inside the workflow, so
that it can keep what it has learned.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Mapping
from typing import Any, TypeVar

from beamfall.board import Board
from beamfall.errors import Refused, UserError
from beamfall.events import Outcome
from beamfall.photos.arrival import Arrivals
from beamfall.setup.rig import Rig
from beamfall.setup.sequence import warn_of_flicker
from beamfall.shots import ShotLog
from beamfall.workflows.pictures import PictureKeeper
from beamfall.workflows.series import Shooter, jitter_span
from beamfall.workflows.steps import (
    Ask,
    Begin,
    Consult,
    ContainerBelow,
    Drip,
    Event,
    Fire,
    Fired,
    FlashesAhead,
    FrontEnd,
    HoldOpen,
    KeepMeasured,
    People,
    Question,
    Remark,
    Remarked,
    SeriesBegun,
    ShotStopped,
    TestFlash,
    Waiting,
    Workflow,
)
from beamfall.workflows.waits import Waits, flashes

T = TypeVar("T")
OpenSeries = Callable[[str, "Rig | None", Mapping[str, Any]], Shooter]


class PythonFrontEnd:
    """The front end of a script or a notebook: `answer` is given each question and returns a text."""

    def __init__(
        self,
        answer: Callable[[Any], str] | None = None,
        show: Callable[[Any], object] = lambda event: None,
    ) -> None:
        self._answer = answer
        self._show = show

    def ask(self, question: Question[Any], problem: str) -> str:
        if self._answer is None and question.otherwise is not None:
            return question.otherwise
        if problem or self._answer is None:
            raise UserError(
                problem or f"{type(question).__name__} is asked: give a function that answers"
            )
        return self._answer(question)

    def show(self, event: Event) -> None:
        self._show(event)


def run(
    workflow: Workflow[T],
    board: Board,
    log: ShotLog | None,
    front_end: FrontEnd | None = None,
    *,
    seed: int | None = None,
    arrivals: Arrivals | None = None,
) -> T:
    """Run a workflow on a board to its end and return its result; see `Runner`."""
    front_end = front_end or PythonFrontEnd()
    return Runner(board, log, front_end, seed=seed, arrivals=arrivals).run(workflow)


class Runner:
    """Runs workflows on one board with one log (None for those that only ask for service).

    `waits` lives on between workflows where the board does: the page's. `open_series` opens a series in the
    place of `Shooter.begin`. `seed` is kept with the series. `arrivals`: where the pictures of the shots come from,
    opened.
    """

    def __init__(
        self,
        board: Board,
        log: ShotLog | None,
        front_end: FrontEnd,
        *,
        seed: int | None = None,
        waits: Waits | None = None,
        open_series: OpenSeries | None = None,
        arrivals: Arrivals | None = None,
    ) -> None:
        self._board = board
        self._log = log
        self._front_end = front_end
        self._people = People(front_end)
        self._seed = seed
        self._waits = Waits() if waits is None else waits
        self._open_series = open_series
        self._series: _Series | None = None
        self._keeper: PictureKeeper | None = None
        if arrivals is not None:
            self._keeper = PictureKeeper(arrivals, board, self._get_log(), front_end, self._people)

    def run(self, workflow: Workflow[T]) -> T:
        """Carry out every step of a workflow and return its result. What a step raises is raised inside it."""
        try:
            step = next(workflow)
            while True:
                try:
                    answer = self._carry_out(step)
                except BaseException as error:
                    step = workflow.throw(error)
                else:
                    step = workflow.send(answer)
        except StopIteration as end:
            result: T = end.value
            return result
        finally:
            workflow.close()

    def _carry_out(self, step: Any) -> Any:
        match step:
            case Fire():
                return self._fire(step)
            case Begin():
                return self._begin(step)
            case Ask():
                return self._people.ask(step.question)
            case Consult():
                return step.do(self._people)
            case Remark():
                self._remark(step)
            case KeepMeasured(shot=shot, measured=measured):
                self._get_log().set_picture_measured(shot, measured)
            case Drip() | TestFlash() | HoldOpen():
                return self._serve(step)
            case Event():
                self._front_end.show(step)
            case _:
                raise TypeError(f"{step!r} is not a step of a workflow")
        return None

    def _warn(self, sequence: Any, repeated: bool) -> None:
        if flashes(sequence):
            self._front_end.show(FlashesAhead(repeated, warn_of_flicker(sequence.rows)))

    # -- series and shots --------------------------------------------------------------------------------------
    def _begin(self, step: Begin) -> int:
        if step.flashes is not None:
            self._warn(step.flashes, step.repeated)
        shooter = self._resume(step) if step.resumes is not None else self._open(step)
        rest_s = step.rest_s
        if rest_s is None:
            rest_s = 0.0 if step.rig is None else step.rig.aim.rest_s
        self._series = _Series(shooter, rest_s)
        self._front_end.show(SeriesBegun(shooter.series, step.kind, step.resumes is not None))
        return shooter.series

    def _open(self, step: Begin) -> Shooter:
        if self._open_series is not None:
            return self._open_series(step.kind, step.rig, step.settings)
        return Shooter.begin(
            self._board, self._get_log(), step.kind, rig=step.rig, seed=self._seed, settings=step.settings
        )  # fmt: skip

    def _resume(self, step: Begin) -> Shooter:
        found = step.resumes
        assert found is not None
        return Shooter(
            self._board,
            self._get_log(),
            found.series,
            rig=step.rig,
            seed=found.seed,
            rest_seed=int(found.settings.get("rest_seed", 0)) + found.shots,
        )

    def _fire(self, step: Fire) -> Fired:
        series = self._series
        if series is None:
            raise TypeError("a workflow begins a series before it fires")
        shooter = series.shooter
        if series.has_fired:
            self._rest(series)
        flashed = flashes(step.sequence)
        self._wait_until_ready(shooter.rig, series.rest_s if step.settled else 0.0, flashed)
        series.has_fired = True
        if self._keeper is not None:
            self._keeper.begin_shot()
        fired_s = time.time()
        try:
            record = shooter.fire(step.sequence, swept=step.swept)
        except BaseException as error:
            # Refused, aborted or unknown: the log has a line for it anyway.
            if not isinstance(error, Refused):
                self._note_shot(flashed)
            self._front_end.show(ShotStopped(shooter.series))
            raise
        self._note_shot(flashed)
        fired = Fired(
            shooter.series, shooter.rig, step.sequence, record, step.swept, shooter.picture
        )
        self._front_end.show(fired)
        return fired if self._keeper is None else self._keeper.end_shot(fired, fired_s)

    def _rest(self, series: _Series) -> None:
        self._front_end.show(Waiting(series.rest_s + jitter_span(series.rest_s)))
        series.shooter.rest(series.rest_s, 0.0 if self._keeper is None else self._keeper.passed_s)
        self._front_end.show(Waiting(0.0))

    def _wait_until_ready(self, rig: Rig | None, rest_s: float, flashed: bool) -> None:
        left = self._waits.find_left(self._board.transport.clock(), rig, rest_s=rest_s)
        seconds = left.longest_s if flashed else left.rest_s
        if not seconds:
            return
        self._front_end.show(Waiting(seconds))
        self._board.sleep(seconds)
        self._front_end.show(Waiting(0.0))

    def _note_shot(self, flashed: bool) -> None:
        self._waits.note(self._board.transport.clock(), flashed=flashed)

    def _remark(self, step: Remark) -> None:
        self._get_log().set_note(step.shot, step.text)
        self._front_end.show(Remarked(step.shot, step.text))

    # -- service -----------------------------------------------------------------------------------------------
    def _serve(self, step: Drip | TestFlash | HoldOpen) -> Outcome | None:
        board = self._board
        outcome: Outcome | None
        if isinstance(step, Drip):
            outcome = board.drip(step.valve, step.opening_s)
        elif isinstance(step, TestFlash):
            self._front_end.show(FlashesAhead(repeated=False))
            self._wait_until_ready(step.rig, 0.0, True)
            outcome = board.test_flash(step.flash, step.contact_s)
            self._waits.note(board.transport.clock(), shot=False)
        else:
            outcome = board.rinse(
                step.valve,
                step.duration_s,
                lambda seconds: self._people.ask(ContainerBelow(step.valve, seconds)),
            )
        board.settle()
        return outcome

    def _get_log(self) -> ShotLog:
        if self._log is None:
            raise TypeError("this workflow takes a log")
        return self._log


class _Series:
    """The series that is being fired."""

    def __init__(self, shooter: Shooter, rest_s: float) -> None:
        self.shooter = shooter
        self.rest_s = rest_s
        self.has_fired = False
