"""The pictures of a workflow's shots: waits for each, asks if it is not clear which one it is, and logs it."""

from __future__ import annotations

import time
from dataclasses import dataclass, replace

from beamfall.board import Board
from beamfall.errors import CameraError, CameraProblem, FileWriteError
from beamfall.photos.arrival import Arrivals, Arrived, ExpectedShot
from beamfall.photos.catalogue import exchange_all
from beamfall.setup.rig import Rig
from beamfall.setup.signals import SignalKind
from beamfall.shots import ShotLog, ShotRecord
from beamfall.shots.exposure import Exposure, list_exposure_remarks
from beamfall.shots.pulses import find_times
from beamfall.workflows.steps import (
    AwaitingPicture,
    Fired,
    FrontEnd,
    People,
    Pictured,
    PictureLate,
    WhichPicture,
)

MISSING_MOST = 3  # shots in a row without a picture
_ALIVE_S = 0.01
_LOOK_S = 0.05  # how often a stop request is checked


@dataclass
class PictureKeeper:
    """Gets the pictures of one runner's shots. `passed_s`: how long the last wait was, on the board's clock."""

    arrivals: Arrivals
    board: Board
    log: ShotLog
    front_end: FrontEnd
    people: People
    passed_s: float = 0.0
    _missing: int = 0
    _before: Exposure | None = None
    _said: tuple[str, ...] = ()
    _unwritten: tuple[str, ...] = ()  # why the newest picture has no sidecar

    def begin_shot(self) -> None:
        """Before a shot: give files that came too late to the shot before."""
        late = self.arrivals.collect_late(lambda: self.board.pump(_ALIVE_S))
        if late.arrived is not None:
            self._write(late.arrived)
            self._missing = 0
        if late.arrived is not None or late.strays:
            self.front_end.show(PictureLate(late))

    def end_shot(self, fired: Fired, fired_s: float) -> Fired:
        """Wait for the picture of a shot; return the shot with it. Raises CameraError after several without one."""
        self.passed_s = 0.0
        if not _takes_picture(fired.record):
            return fired
        problem: CameraError | None = None
        photo: Arrived | None = None
        begun_s = self.board.transport.clock()
        try:
            photo = self._await(fired, fired_s)
        except CameraError as error:
            problem = error
        except FileWriteError as error:
            problem = CameraError(CameraProblem.NOT_KEPT, f"its picture cannot be saved: {error}")
        except BaseException:
            stopped = CameraError(CameraProblem.STOPPED, "the wait for its picture was stopped")
            self.front_end.show(Pictured(fired, stopped))
            raise
        finally:
            self.passed_s = self.board.transport.clock() - begun_s
        if photo is not None:
            self._write(photo)
            fired = replace(fired, record=_add(fired.record, photo), photo=photo)
        remarks = self._find_remarks(fired)
        self.front_end.show(Pictured(fired, problem, remarks))
        self._count(problem)
        return fired

    def _await(self, fired: Fired, fired_s: float) -> Arrived:
        arrivals, shot = self.arrivals, fired.shot
        self.front_end.show(AwaitingPicture(shot, arrivals.wait_s))
        arrivals.expect(ExpectedShot(fired.series, shot, fired_s, fired.picture))
        arrivals.look(0.0)
        while not arrivals.is_over:
            begun_s = time.monotonic()
            self.board.pump(_LOOK_S)  # a virtual clock runs through it at once
            arrivals.look(max(0.0, _LOOK_S - (time.monotonic() - begun_s)))
        choice = arrivals.choose()
        if choice.clear is not None:
            return arrivals.keep(choice.clear)
        return arrivals.keep(self.people.ask(WhichPicture(shot, choice.pictures)), "asked")

    def _write(self, photo: Arrived) -> None:
        self.log.add_photograph(
            photo.shot,
            photo.name,
            match=photo.how,
            exposure=None if photo.exposure is None else photo.exposure.to_json(),
        )
        self._unwritten = exchange_all(self.log, [photo.shot]).problems

    def _find_remarks(self, fired: Fired) -> tuple[str, ...]:
        """What is odd about the camera's settings, once for shots in a row."""
        lag_s = _find_lag(fired.rig)
        remarks = list_exposure_remarks(fired.record, lag_s=lag_s, before=self._before)
        if fired.photo is not None:
            self._before = fired.photo.exposure
            remarks += [f"no XMP sidecar: {problem}" for problem in self._unwritten]
            if fired.photo.damage is not None:
                remarks.append(f"its picture cannot be shown: {fired.photo.damage}")
        said, self._said = self._said, tuple(remarks)
        return () if self._said == said else self._said

    def _count(self, problem: CameraError | None) -> None:
        if problem is None or problem.problem is CameraProblem.UNDECIDED:
            self._missing = 0
            return
        self._missing += 1
        if self._missing >= MISSING_MOST:
            raise CameraError(
                problem.problem,
                f"{self._missing} shots in a row have no picture (the shots are in the log): {problem}",
            )


def _find_lag(rig: Rig | None) -> float:
    return 0.0 if rig is None or rig.camera is None else rig.camera.shutter_lag_s


def _add(record: ShotRecord, photo: Arrived) -> ShotRecord:
    exposure = None if photo.exposure is None else photo.exposure.to_json()
    return replace(record, picture=photo.name, picture_match=photo.how, exposure=exposure)


def _takes_picture(record: ShotRecord) -> bool:
    """Whether the camera's shutter or a flash was switched in a shot."""
    return any(find_times(record.edges, kind) for kind in (SignalKind.CAMERA, SignalKind.FLASH))
