"""Where the pictures of a program's shots come from, by the names that people give."""

from __future__ import annotations

from pathlib import Path

from beamfall.errors import UserError
from beamfall.link.traits import PortTraits
from beamfall.photos.arrival import WAIT_S, Arrivals, PictureSource
from beamfall.photos.camera import CameraSource
from beamfall.photos.own_camera import OWN, OwnCamera
from beamfall.photos.watched_folder import WatchedFolder
from beamfall.places import find_log
from beamfall.setup.rig import Rig


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
