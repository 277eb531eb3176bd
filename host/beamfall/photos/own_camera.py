"""The port's own camera, if it has one: delivers the picture of each shot as a file, as a camera would."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from beamfall.errors import CameraError
from beamfall.photos.arrival import ExpectedShot
from beamfall.setup.rig import Rig
from beamfall.shots.exposure import BULB, MANUAL, Exposure

OWN = "sim"


class OwnCamera:
    """Delivers what the port's camera saw."""

    quiet_s = 0.0
    knows_shot = True
    moves = True

    def __init__(self, rig: Rig | None) -> None:
        self.name = "the simulated camera"
        time_s = None if rig is None or rig.camera is None else rig.camera.exposure_s
        self.settings: Exposure | None = Exposure(time_s=time_s, mode=MANUAL if time_s else BULB)
        self._folder = Path()
        self._ready: list[Path] = []

    def open(self, folder: Path, between: Callable[[], object]) -> None:
        self._folder = folder

    def expect(self, shot: ExpectedShot) -> None:
        if shot.picture is None:
            return
        file = self._folder / f"new-{shot.shot:06d}.jpg"
        shot.picture.draw(file, tell=False)
        self._ready.append(file)

    def take(self, timeout_s: float) -> list[Path]:
        ready, self._ready = self._ready, []
        return ready

    def explain(self) -> CameraError | None:
        return None

    def close(self) -> None:
        pass
