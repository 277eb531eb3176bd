"""The camera's shutter lag: stamped by its hot-shoe contact, or found by whether a flash is in the picture."""

from __future__ import annotations

from dataclasses import dataclass

from beamfall.board import Board
from beamfall.errors import CalibrationError
from beamfall.planning.make import make_plan
from beamfall.planning.shutter import (
    LAG_MOST_S,
    ShutterLag,
    judge_lags,
    judge_search,
    make_flashed_press,
    make_press,
    read_lag,
)
from beamfall.setup.rig import Rig
from beamfall.workflows.steps import (
    Begin,
    Event,
    Fired,
    Progress,
    Workflow,
    YesNo,
    ask,
    begin,
    fire,
)

LIT, DARK = "lit", "dark"
_REST_S = 1.0  # between presses: the camera writes its picture
_FINE_S = 0.004  # a search ends here: shutters scatter by milliseconds
_START_SHARE = 0.9  # of the shutter time: a flash then is certainly in the picture


@dataclass(frozen=True)
class PressProgress(Progress):
    """How many times the shutter has been pressed."""


@dataclass(frozen=True)
class LagSeen(Event):
    """A press of the shutter; `lag_s` is None if its contact did not close."""

    fired: Fired
    lag_s: float | None


@dataclass(frozen=True)
class IsItLit(YesNo):
    """Is the flash in the picture of this press?"""

    choices = (LIT, DARK)

    fired: Fired
    after_s: float


def measure_lag(rig: Rig, *, count: int) -> Workflow[ShutterLag]:
    """Press the shutter `count` times and stamp its hot-shoe contact.

    Raises RigFileError if no input is named for it, CalibrationError if it closes too seldom.
    """
    press = make_press(rig)
    assert rig.camera is not None and rig.camera.sync_input is not None
    yield from begin(Begin("calibrate-camera", rig, {"count": count}, rest_s=_REST_S))
    lags: list[float | None] = []
    for number in range(count):
        yield PressProgress(number, count)
        fired = yield from fire(press, settled=False)
        lags.append(read_lag(fired.record, rig.camera.sync_input))
        yield LagSeen(fired, lags[-1])
    return judge_lags(lags, make_plan(rig).flash_s)


def search_lag(
    rig: Rig, board: Board, *, exposure_s: float, asks: bool = True
) -> Workflow[ShutterLag]:
    """Find the lag by halving: with a shutter time of `exposure_s`, which flashes after a press are in the picture?

    `asks` False: behind a simulated port its own picture answers. Raises CalibrationError if no flash is seen.
    """
    dark_s, lit_s = 0.0, min(_START_SHARE * exposure_s, LAG_MOST_S)
    first = make_flashed_press(rig, lit_s, exposure_s)
    yield from begin(
        Begin("calibrate-camera", rig, {"exposure_s": exposure_s}, rest_s=_REST_S, flashes=first, repeated=True)
    )  # fmt: skip
    shots = 1
    if not (yield from _look(rig, board, lit_s, exposure_s, asks)):
        raise CalibrationError(
            f"a flash {lit_s * 1e3:.0f} ms after the shutter's contact is not in the picture. Is the shutter set to "
            f"{exposure_s:g} s, in manual mode, and does the flash fire?"
        )
    while lit_s - dark_s > _FINE_S:
        middle_s = 0.5 * (dark_s + lit_s)
        shots += 1
        if (yield from _look(rig, board, middle_s, exposure_s, asks)):
            lit_s = middle_s
        else:
            dark_s = middle_s
    return judge_search(dark_s, lit_s, shots, make_plan(rig).flash_s)


def _look(rig: Rig, board: Board, after_s: float, exposure_s: float, asks: bool) -> Workflow[bool]:
    fired = yield from fire(make_flashed_press(rig, after_s, exposure_s), settled=False)
    if not asks and board.traits.studio is not None:
        return fired.picture is not None and fired.picture.shows is not None
    return (yield from ask(IsItLit(fired, after_s)))
