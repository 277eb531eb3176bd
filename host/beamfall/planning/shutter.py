"""The camera's shutter lag: sequences that show it, and what to write into the rig file."""

from __future__ import annotations

import math
import statistics
from collections.abc import Sequence as SequenceOf
from dataclasses import dataclass
from typing import Any

from beamfall.errors import CalibrationError, RigFileError
from beamfall.planning.rows import EARLIEST_S, find_exposure_need
from beamfall.setup.rig import Rig
from beamfall.setup.sequence import Row, Sequence
from beamfall.setup.signals import Signal
from beamfall.shots import ShotRecord
from beamfall.shots.pulses import find_times

LAG_MOST_S = 1.0  # no camera takes longer
LEAST_SHOTS = 3
_HELD_S = 0.3
# Shutter times that cameras can be set to, in s (ISO 516 and common practice).
_TIMES_S = (1 / 125, 1 / 60, 1 / 30, 1 / 15, 1 / 8, 1 / 4, 1 / 2, 1.0, 2.0, 4.0, 8.0, 15.0, 30.0)


@dataclass(frozen=True)
class ShutterLag:
    """A camera's shutter lag: mean, its standard error, and the scatter from shot to shot, in s.

    `shots`: how many it rests on, of `asked`. `exposure_s`: the shutter time to set where the camera is not on
    bulb; None if no time is long enough or no plan is known. `by_search`: found by whether a flash was in the
    picture, so that the scatter is only known to be less.
    """

    mean_s: float
    error_s: float
    scatter_s: float
    shots: int
    asked: int
    exposure_s: float | None
    by_search: bool = False

    def to_json(self) -> dict[str, Any]:
        """Plain values, ms."""
        return {
            "shutter_lag_ms": round(self.mean_s * 1e3, 3),
            "error_ms": round(self.error_s * 1e3, 3),
            "scatter_ms": round(self.scatter_s * 1e3, 3),
            "shots": self.shots,
            "asked": self.asked,
            "exposure_ms": None if self.exposure_s is None else round(self.exposure_s * 1e3, 3),
            "by_search": self.by_search,
        }


def make_press(rig: Rig) -> Sequence:
    """Return a press of the shutter, with nothing else; raises RigFileError if no input is named for its contact."""
    camera = rig.camera
    if camera is None or camera.sync_input is None:
        raise RigFileError(
            "camera.sync_input is not set: name the spare input that the hot-shoe contact is wired to "
            "(hardware/build.md), or measure with the flash: `beamfall calibrate camera --flash '1 s'`"
        )
    if camera.sync_input in {beam.input for beam in rig.beams}:
        raise RigFileError(
            f"camera.sync_input = {camera.sync_input}: a beam of this rig uses that input; name a spare one"
        )
    start_s = EARLIEST_S + camera.focus_lead_s
    rows = _press(start_s, camera.focus_lead_s, _HELD_S)
    return Sequence(rows=rows, tail_s=LAG_MOST_S, name="shutter lag")


def make_flashed_press(rig: Rig, after_s: float, held_s: float) -> Sequence:
    """Return a press of the shutter with a flash `after_s` after the contact; raises RigFileError without a flash.

    `held_s`: how long the contact stays closed, which is the exposure of a camera on bulb.
    """
    if not rig.flashes or rig.camera is None:
        raise RigFileError("the search for the shutter lag takes a [camera] and a [[flash]]")
    start_s = EARLIEST_S + rig.camera.focus_lead_s
    flash = rig.flashes[0]
    rows = _press(start_s, rig.camera.focus_lead_s, held_s)
    lit = Row("release", 0, flash.output, max(EARLIEST_S, start_s + after_s), flash.contact_s)
    return Sequence(rows=(*rows, lit), tail_s=0.1, name="shutter lag, with a flash")


def _press(start_s: float, focus_s: float, held_s: float) -> tuple[Row, ...]:
    shutter = Row("release", 0, Signal.shutter.name, start_s, held_s)
    if not focus_s:
        return (shutter,)
    return (Row("release", 0, Signal.focus.name, start_s - focus_s, focus_s + held_s), shutter)


def read_lag(record: ShotRecord, sync_input: str) -> float | None:
    """Return the time from the shutter's contact to the hot-shoe contact, in s; None if it never closed."""
    pressed = find_times(record.edges, Signal.shutter)
    if not pressed:
        return None
    # The board reads a closed contact on a beam's input as a clear beam.
    closed = find_times(record.edges, Signal.of(sync_input), level=0)
    lags = [ticks - pressed[0] for ticks in closed if ticks >= pressed[0]]
    return lags[0] / record.clock_hz if lags else None


def judge_lags(lags_s: SequenceOf[float | None], flash_s: tuple[float, float] | None) -> ShutterLag:
    """Return what the lags of some shots say; None is a shot without one.

    `flash_s`: between these the plan's flash comes. Raises CalibrationError if too few shots show a lag.
    """
    found = [lag for lag in lags_s if lag is not None]
    if len(found) < LEAST_SHOTS:
        raise CalibrationError(
            f"the hot-shoe contact closed in {len(found)} of {len(lags_s)} shots. Is the camera on, on manual focus "
            "and with its mechanical shutter? A silent or electronic shutter never closes the contact. "
            "Is the contact wired as hardware/build.md says?"
        )
    scatter_s = statistics.stdev(found)
    return ShutterLag(
        statistics.fmean(found),
        scatter_s / math.sqrt(len(found)),
        scatter_s,
        len(found),
        len(lags_s),
        advise_exposure(flash_s, scatter_s),
    )


def judge_search(
    dark_s: float, lit_s: float, shots: int, flash_s: tuple[float, float] | None
) -> ShutterLag:
    """Return what a search says that ended between a dark and a lit picture."""
    half_s = 0.5 * (lit_s - dark_s)
    return ShutterLag(
        dark_s + half_s, half_s, half_s, shots, shots,
        advise_exposure(flash_s, half_s), by_search=True,
    )  # fmt: skip


def advise_exposure(flash_s: tuple[float, float] | None, scatter_s: float) -> float | None:
    """Return the shortest usual shutter time that surely holds the flash; None if there is none."""
    if flash_s is None:
        return None
    need_s = find_exposure_need(flash_s, scatter_s)
    return next((time for time in _TIMES_S if time >= need_s), None)
