"""The port's own camera, where a port has one: the picture of each shot as a file, as a camera would deliver it."""

from __future__ import annotations

import tempfile
from collections.abc import Callable
from datetime import datetime, timedelta
from pathlib import Path

from beamfall.errors import CameraError
from beamfall.files import write_whole
from beamfall.photos.arrival import ExpectedShot
from beamfall.setup.rig import Rig
from beamfall.shots.exposure import Exposure

OWN = "sim"
_MAKER, _MODEL = "Beamfall", "simulated camera"
_QUALITY = 92
# Tags of the Exif standard (CIPA DC-008, 4.6).
_MAKE_TAG, _MODEL_TAG, _SOFTWARE, _EXIF_IFD = 0x010F, 0x0110, 0x0131, 0x8769
_EXPOSURE_TIME, _F_NUMBER, _PROGRAM, _ISO, _ORIGINAL, _SUB_SEC, _FOCAL = (
    0x829A, 0x829D, 0x8822, 0x8827, 0x9003, 0x9291, 0x920A
)  # fmt: skip
_FOCAL_MM = 105.0  # of the lens that the simulated camera says it has
_ISO_SET = 100


class OwnCamera:
    """Delivers what the port's camera saw."""

    quiet_s = 0.0
    knows_shot = True
    moves = True
    settings: Exposure | None = None

    def __init__(self, rig: Rig | None) -> None:
        self.name = "the simulated camera"
        self._camera = None if rig is None else rig.camera
        self._folder = Path()
        self._ready: list[Path] = []

    def open(self, folder: Path, between: Callable[[], object]) -> None:
        self._folder = folder

    def expect(self, shot: ExpectedShot) -> None:
        if shot.picture is None:
            return
        file = self._folder / f"new-{shot.shot:06d}.jpg"
        with tempfile.TemporaryDirectory(prefix="beamfall-") as folder, write_whole(file) as part:
            drawn = Path(folder, "picture.png")
            shot.picture.draw(drawn, tell=False)
            self._develop(drawn, part, shot.taken_us)
        self._ready.append(file)

    def take(self, timeout_s: float) -> list[Path]:
        ready, self._ready = self._ready, []
        return ready

    def explain(self) -> CameraError | None:
        return None

    def close(self) -> None:
        pass

    def _develop(self, drawn: Path, file: Path, taken_us: int) -> None:
        """Make a JPEG with the EXIF that a camera writes."""
        from PIL import Image

        taken = datetime(1970, 1, 1) + timedelta(microseconds=taken_us)
        exif = Image.Exif()
        exif[_MAKE_TAG], exif[_MODEL_TAG] = _MAKER, _MODEL
        exif[_SOFTWARE] = "simulated, not a photograph"
        inner = exif.get_ifd(_EXIF_IFD)
        inner[_ORIGINAL] = taken.strftime("%Y:%m:%d %H:%M:%S")
        inner[_SUB_SEC] = f"{taken.microsecond // 10000:02d}"
        inner[_PROGRAM], inner[_ISO], inner[_FOCAL] = 1, _ISO_SET, _FOCAL_MM
        if self._camera is not None:
            inner[_F_NUMBER] = self._camera.aperture
        with Image.open(drawn) as image:
            image.convert("RGB").save(file, "JPEG", quality=_QUALITY, exif=exif)
