"""Where the pictures of shots fired on the page come from: chosen on the page, opened when a shot needs it.

A page chooses among kinds and names a camera; it never names a folder of this computer. That is given with
`beamfall page --photos`.
"""

from __future__ import annotations

import threading
from pathlib import Path
from typing import Any

from beamfall.errors import BeamfallError, UserError, WrongValue
from beamfall.page.hub import Hub
from beamfall.page.listening import ListeningBoard
from beamfall.photos.arrival import Arrivals
from beamfall.photos.camera_process import ANY
from beamfall.photos.sources import OWN, make_arrivals, require_own_camera
from beamfall.setup.rig import Rig

NONE, CAMERA, FOLDER = "none", "camera", "folder"
_NAME_MOST = 80
_ALIVE_S = 0.01


class CameraChoice:
    """The chosen camera, and the open one. Any thread may choose; the rest is for the board's thread."""

    def __init__(self, hub: Hub, camera: str | None = None, folder: Path | None = None) -> None:
        """`camera`, `folder`: as on the command line. Raises UserError if both are given."""
        make_arrivals(camera, folder, rig=None)  # refuses what cannot be
        self._hub = hub
        self._folder = folder
        self._lock = threading.Lock()
        self._kind = (
            FOLDER if folder else NONE if camera is None else OWN if camera == OWN else CAMERA
        )
        self._camera = ANY if camera in (None, OWN) else str(camera)
        self._changed = False
        self._open: Arrivals | None = None
        self._show("")

    def choose(self, kind: str, camera: str) -> None:
        """Choose a kind, and which camera; raises UserError."""
        camera = camera.strip() or ANY
        if kind not in self._kinds:
            raise WrongValue(
                f"pictures from '{kind[:20]}': expected {', '.join(self._kinds)}",
                of="camera", found=kind, choices=self._kinds,
            )  # fmt: skip
        if len(camera) > _NAME_MOST:
            raise UserError(f"the camera's name has {len(camera)} characters; at most {_NAME_MOST}")
        with self._lock:
            self._kind, self._camera, self._changed = kind, camera, True
        self._show("")

    @property
    def _kinds(self) -> tuple[str, ...]:
        return (NONE, CAMERA, OWN, FOLDER) if self._folder else (NONE, CAMERA, OWN)

    def open(self, board: ListeningBoard, rig: Rig, log_path: Path) -> Arrivals | None:
        """Open and return the source of pictures; None if there is none. Raises BeamfallError."""
        with self._lock:
            kind, camera, changed, self._changed = self._kind, self._camera, self._changed, False
        if changed:
            self.close()
        if self._open is not None:
            return self._open
        arrivals = make_arrivals(
            {CAMERA: camera, OWN: OWN}.get(kind),
            self._folder if kind == FOLDER else None,
            rig=rig,
            log_path=log_path,
        )
        if arrivals is None:
            return None
        try:
            require_own_camera(arrivals, board.traits, board.name)
            arrivals.open(lambda: board.pump(_ALIVE_S))  # an abort gets through
        except BaseException as error:
            arrivals.source.close()
            self._show(str(error) if isinstance(error, BeamfallError) else "")
            raise
        self._open = arrivals
        self._show(arrivals.source.name)
        return arrivals

    def close(self) -> None:
        """Close what is open."""
        arrivals, self._open = self._open, None
        if arrivals is not None:
            arrivals.source.close()

    def _show(self, state: str) -> None:
        shown: dict[str, Any] = {
            "kind": self._kind,
            "camera": self._camera,
            "kinds": list(self._kinds),
            "folder": None if self._folder is None else str(self._folder),
            "state": state,
        }
        self._hub.set(pictures=shown)
