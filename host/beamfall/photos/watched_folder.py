"""Pictures from a folder that another program fills: a tethering program, a card reader, a phone's sync.

The files stay where they are. A file counts once it is complete: its size rests, and a JPEG has its end.
"""

from __future__ import annotations

import contextlib
import importlib.util
import queue
import threading
import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from beamfall.errors import CameraError, CameraProblem, MissingExtra
from beamfall.photos.arrival import ExpectedShot
from beamfall.photos.folder import JPEG, check_name, is_picture
from beamfall.shots.exposure import Exposure
from beamfall.text import show_text

_RESTS_S = 0.3  # without a change of its size, a file is complete
_RESTS_LONG_S = 3.0  # a JPEG without an end, as some programs write them
_LOOK_S = 0.05
_END = b"\xff\xd9"  # EOI, ITU-T T.81
_TAIL = 1 << 16  # some cameras write more behind the end
_FOUND_MOST = 10_000  # names that nobody has asked for yet; later ones are lost
_GROWING_MOST = 1_000  # unfinished files; the ones that came first are forgotten


@dataclass
class _Growing:
    size: int
    since_s: float


class WatchedFolder:
    """A folder that is watched."""

    quiet_s = 1.0
    knows_shot = False
    moves = False
    settings: Exposure | None = None

    def __init__(self, folder: Path) -> None:
        self.name = f"folder {show_text(folder)}"
        self._watched = folder
        self._found: queue.Queue[Path] = queue.Queue(_FOUND_MOST)
        self._stop = threading.Event()
        self._growing: dict[Path, _Growing] = {}
        self._given: set[Path] = set()

    def open(self, folder: Path, between: Callable[[], object]) -> None:
        if importlib.util.find_spec("watchfiles") is None:
            raise MissingExtra("watching a folder needs watchfiles: pip install 'beamfall[camera]'")
        if not self._watched.is_dir():
            raise CameraError(
                CameraProblem.NOT_FOUND,
                f"{show_text(self._watched)}: there is no such folder. Create it, or choose the one that your "
                "tethering program saves to",
            )
        self._given = {file for file in self._watched.rglob("*") if is_picture(file)}
        self._stop = threading.Event()
        ready = threading.Event()
        threading.Thread(target=self._watch, args=(self._stop, ready), daemon=True).start()
        ready.wait(1.0)

    def expect(self, shot: ExpectedShot) -> None:
        pass

    def take(self, timeout_s: float) -> list[Path]:
        end = time.monotonic() + timeout_s
        while True:
            if not self._watched.is_dir():
                raise CameraError(
                    CameraProblem.LOST,
                    f"{self.name} has disappeared. Is the card or the drive still plugged in?",
                )
            self._note_new()
            complete = [file for file in list(self._growing) if self._is_complete(file)]
            for file in complete:
                del self._growing[file]
                self._given.add(file)
            left = end - time.monotonic()
            if complete or left <= 0.0:
                return sorted(complete)
            time.sleep(min(left, _LOOK_S))

    def explain(self) -> CameraError | None:
        if not self._growing:
            return CameraError(
                CameraProblem.NO_FILE,
                f"no new picture in {self.name}. Does your tethering program save to it?",
            )
        file = next(iter(self._growing))
        return CameraError(
            CameraProblem.HALF_WRITTEN,
            f"{show_text(file.name)} in {self.name} is still being written, or was cut off. "
            "Pair it later: beamfall shots match FOLDER",
        )

    def close(self) -> None:
        self._stop.set()

    def _watch(self, stop: threading.Event, ready: threading.Event) -> None:
        from watchfiles import Change, watch

        with contextlib.suppress(OSError):
            for changes in watch(
                self._watched,
                stop_event=stop,
                rust_timeout=200,
                yield_on_timeout=True,
                debounce=100,
                step=20,
                raise_interrupt=False,
                watch_filter=None,
            ):
                ready.set()
                for change, name in changes:
                    if change is not Change.deleted:
                        with contextlib.suppress(queue.Full):
                            self._found.put_nowait(Path(name))

    def _note_new(self) -> None:
        with contextlib.suppress(queue.Empty):
            while True:
                file = self._found.get_nowait()
                if file in self._given or not is_picture(file) or file.name.startswith("."):
                    continue
                with contextlib.suppress(Exception):
                    check_name(file)  # the log could not hold it
                    self._growing.setdefault(file, _Growing(-1, time.monotonic()))
                if len(self._growing) > _GROWING_MOST:
                    del self._growing[next(iter(self._growing))]

    def _is_complete(self, file: Path) -> bool:
        growing = self._growing[file]
        try:
            size = file.stat().st_size
        except OSError:  # renamed or deleted meanwhile; a new name is reported by itself
            del self._growing[file]
            return False
        now = time.monotonic()
        if size != growing.size:
            self._growing[file] = _Growing(size, now)
            return False
        rests_s = now - growing.since_s
        if size == 0 or rests_s < _RESTS_S:
            return False
        return rests_s >= _RESTS_LONG_S or file.suffix.lower() not in JPEG or _has_end(file)


def _has_end(file: Path) -> bool:
    with contextlib.suppress(OSError), file.open("rb") as stream:
        stream.seek(0, 2)
        stream.seek(max(0, stream.tell() - _TAIL))
        return _END in stream.read()
    return False
