"""Pictures of shots: the photograph named in the log, what the simulated camera saw, or what the next one would show.

Simulated pictures are drawn by the library into a folder beside the log. A picture is served by the
shot's number alone: no path comes from a page, and only what reads as a picture is sent.
"""

from __future__ import annotations

import contextlib
import queue
import threading
from collections.abc import Callable
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any

from beamfall.errors import BeamfallError, UserError
from beamfall.files import explain_write
from beamfall.link.traits import Picture
from beamfall.page.hub import Hub, mark_shot
from beamfall.photos.find import find_drawn, load_picture
from beamfall.planning.unknowns import NAMES
from beamfall.ports import predict_picture
from beamfall.shots import ShotLog

if TYPE_CHECKING:
    from beamfall.page.desk import Desk

_LARGE, _SMALL = 1400, 420
_KEPT_MOST = 400


class Painter:
    """Does one piece of work after the other on a thread of its own. The end of the program waits for none of it: a
    series leaves many pictures to draw, and Ctrl-C must end the page at once."""

    def __init__(self) -> None:
        self._waiting: queue.SimpleQueue[Callable[[], object]] = queue.SimpleQueue()
        self._lock = threading.Lock()
        self._begun = False

    def submit(self, work: Callable[[], object]) -> None:
        """Add a piece of work, which must report its own errors."""
        self._waiting.put(work)
        with self._lock:
            if not self._begun:
                self._begun = True
                threading.Thread(target=self._run, name="pictures", daemon=True).start()

    def _run(self) -> None:
        while True:
            self._waiting.get()()


_painter = Painter()


def warm_up() -> None:
    """Load the drawing libraries before the first shot: this keeps a processor busy for a second."""
    _painter.submit(_load)


def _load() -> None:
    with contextlib.suppress(ImportError):  # a drawing then says so
        import matplotlib.backends.backend_agg
        import matplotlib.figure  # noqa: F401


def draw_later(hub: Hub, log_path: Path, shot: int, picture: Picture) -> None:
    """Draw a simulated picture on another thread, then tell the pages."""
    _painter.submit(partial(_draw, hub, log_path, shot, picture))


def _draw(hub: Hub, log_path: Path, shot: int, picture: Picture) -> None:
    file = find_drawn(log_path, shot)
    try:
        with explain_write(file):
            file.parent.mkdir(parents=True, exist_ok=True)
        picture.draw(file, tell=False)  # the page says so if no question is open
    except BeamfallError as error:
        hub.notice("caution", f"the simulated picture of shot {shot} could not be drawn: {error}")
        return
    except Exception as error:  # a drawing that fails must not be silent
        hub.notice("error", hub.report_fault(error))
        return
    shown = hub.get("shot") or {}
    if shown.get("shot") == shot and shown.get("picture"):
        return  # a photograph of it has arrived meanwhile, and is what the log names
    mark_shot(hub, shot, picture={"simulated": True})
    hub.tell("picture", shot=shot)


def find_pictures(log: ShotLog) -> dict[int, str]:
    """Shot -> photo or simulated, for every shot that has a picture."""
    found: dict[int, str] = {}
    folder = log.path.with_suffix(".pictures")
    if folder.is_dir():
        for file in folder.glob("shot-*.png"):
            number = file.stem.removeprefix("shot-")
            if number.isdecimal():
                found[int(number)] = "simulated"
    return found | dict.fromkeys(log.find_pictures(), "photo")


class PictureShelf:
    """Pictures ready for a page: scaled, and re-encoded so that nothing but pixels is sent."""

    def __init__(self) -> None:
        self._kept: dict[tuple[Path, float, bool], bytes] = {}
        self._lock = threading.Lock()

    def load(self, log: ShotLog, shot: int, *, small: bool) -> bytes:
        """A JPEG; raises UserError if there is no picture, PictureError if it cannot be shown, NoSuchShot."""
        logged = log.read_shot(shot)
        file = Path(logged.record.picture or find_drawn(log.path, shot))
        changed = file.stat().st_mtime if file.is_file() else 0.0
        key = (file, changed, small)
        with self._lock:
            if key in self._kept:
                return self._kept[key]
            data = load_picture(log.path, logged, _SMALL if small else _LARGE)
            if data is None:
                raise UserError(f"shot {shot} has no picture here")
            if small:
                if len(self._kept) >= _KEPT_MOST:
                    self._kept.pop(next(iter(self._kept)))
                self._kept[key] = data
            return data


PIXELS = 480  # of the longer side: half a second of one core


class Predictor:
    """Draws for the pages. Any thread may ask; one picture is drawn at a time, and the newest is kept."""

    def __init__(self, desk: Desk) -> None:
        self._desk = desk
        self._lock = threading.Lock()
        self._drawn: tuple[Any, bytes] | None = None

    def draw(self) -> bytes:
        """A JPEG; raises UserError if there is no plan, PhysicsRangeError for a rig beyond the physics."""
        with self._lock:
            asked = self._desk.asked
            if self._drawn is None or self._drawn[0] != asked:
                rig, sequence, learned = asked
                fitted = None if learned is None else learned.fit(rig)
                known = {} if fitted is None else dict(zip(NAMES, fitted[0].tolist(), strict=True))
                self._drawn = (asked, predict_picture(rig, sequence, known, PIXELS).jpeg)
            return self._drawn[1]
