"""Where the pictures of a program's shots come from, by the names that people give."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from beamfall.errors import CameraError, UserError
from beamfall.link.traits import PortTraits
from beamfall.photos.arrival import WAIT_S, Arrivals, ExpectedShot, PictureSource
from beamfall.photos.camera import CameraSource
from beamfall.photos.watched_folder import WatchedFolder
from beamfall.places import find_log
from beamfall.setup.rig import Rig
from beamfall.shots.exposure import BULB, MANUAL, Exposure

OWN = "sim"


class OwnCamera:
    """The port's own camera, if it has one: delivers the picture of each shot as a file, as a camera would."""

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


def find_photos(log_path: Path | None = None) -> Path:
    """Return the folder of pictures that came from a camera, beside the shot log."""
    return (log_path or find_log()).with_suffix(".photos")


def make_arrivals(
    camera: str | None,
    folder: Path | None,
    *,
    rig: Rig | None,
    wait_s: float = WAIT_S,
    log_path: Path | None = None,
) -> Arrivals | None:
    """Return where pictures will come from; None if neither a camera nor a folder is named.

    `camera`: `usb` for the only one, its port or part of its model, or `sim` for the camera of a simulated port.
    Raises UserError if both are named.
    """
    if camera is None and folder is None:
        return None
    if camera is not None and folder is not None:
        raise UserError("--camera or --photos: give one; both would deliver each picture twice")
    source: PictureSource
    if folder is not None:
        source = WatchedFolder(folder)
    elif camera == OWN:
        source = OwnCamera(rig)
    else:
        source = CameraSource(camera or "")
    return Arrivals(source, find_photos(log_path), wait_s)


def require_own_camera(arrivals: Arrivals | None, traits: PortTraits, port: str) -> None:
    """Refuse a simulated port's camera for a real board. Raises UserError."""
    if arrivals is not None and isinstance(arrivals.source, OwnCamera) and traits.studio is None:
        raise UserError(
            f"--camera sim is the camera of a simulated port; {port} is a real board: name its camera, such as "
            "--camera usb"
        )
