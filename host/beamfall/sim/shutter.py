"""The shutter of a simulated camera: when it is open, and its hot-shoe contact.

It is simulated if the rig file says more about the camera than that it is on bulb: a lag, a shutter time, or an input
that its hot-shoe contact is wired to. The true lag is drawn around the file's value, or from 40 to 120 ms without one.
"""

from __future__ import annotations

import math
import random
from collections.abc import Iterator
from dataclasses import dataclass

from beamfall.setup.rig import Rig
from beamfall.setup.signals import Signal

_LAGS_S = (0.04, 0.12)  # of cameras that have not been measured (our choice)
_SCATTERS_S = (0.0005, 0.004)
_LAG_ERROR_S = 0.003  # of a lag in the rig file
_LEAST_S = 0.001


@dataclass(frozen=True)
class ShutterModel:
    """What is true of a shutter. `time_s` None: on bulb. `line`: the input of the contact on the board, 0: none."""

    lag_s: float
    scatter_s: float
    time_s: float | None = None
    line: int = 0


def make_shutter(rig: Rig, seed: int) -> ShutterModel | None:
    """Draw the shutter of a rig; None if the rig file says nothing about it."""
    camera = rig.camera
    if camera is None or not (camera.shutter_lag_s or camera.exposure_s or camera.sync_input):
        return None
    draws = random.Random(f"{seed}/shutter")
    lag_s = draws.uniform(*_LAGS_S)
    if camera.shutter_lag_s:
        lag_s = max(_LEAST_S, camera.shutter_lag_s + draws.gauss(0.0, _LAG_ERROR_S))
    scatter_s = camera.shutter_scatter_s or draws.uniform(*_SCATTERS_S)
    line = 0 if camera.sync_input is None else int(Signal.of(camera.sync_input))
    return ShutterModel(lag_s, scatter_s, camera.exposure_s, line)


class Shutter:
    """One shutter in time."""

    def __init__(self, model: ShutterModel, seed: int) -> None:
        self.model = model
        self._seed = seed
        self._presses = 0
        self._windows: list[tuple[float, float]] = []

    def move(self, level: int, when_s: float) -> Iterator[tuple[float, int]]:
        """Its contact on the board's output changes: yields when the hot-shoe contact closes (1) and opens (0)."""
        model = self.model
        if level:
            self._presses += 1
            chance = random.Random(f"{self._seed}/shutter/{self._presses}")
            opened_s = when_s + max(_LEAST_S, chance.gauss(model.lag_s, model.scatter_s))
            closed_s = math.inf if model.time_s is None else opened_s + model.time_s
            self._windows.append((opened_s, closed_s))
            yield opened_s, 1
            if model.time_s is not None:
                yield closed_s, 0
        elif self._windows and math.isinf(self._windows[-1][1]):
            opened_s = self._windows[-1][0]
            closed_s = max(when_s, opened_s) + _LEAST_S
            self._windows[-1] = (opened_s, closed_s)
            yield closed_s, 0

    def sees(self, start_s: float, end_s: float) -> bool:
        """Whether a light gets into the picture; one without any press does: the camera was opened by hand."""
        if not self._windows:
            return True
        return any(opened <= end_s and start_s <= closed for opened, closed in self._windows)

    def forget(self) -> None:
        """The picture has been taken."""
        self._windows.clear()
