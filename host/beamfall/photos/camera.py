"""Pictures from a camera on USB or the network, through libgphoto2 in a separate process.

The board's contact opens the shutter; this only waits for the file. libgphoto2's virtual camera (VCAMERADIR in the
environment names a folder with JPEG files) has no contact: it is released here after each shot, for tests.
"""

from __future__ import annotations

import contextlib
import importlib.util
import json
import os
import queue
import re
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import IO, Any

from beamfall.errors import CameraError, CameraProblem, MissingExtra
from beamfall.photos.arrival import ExpectedShot
from beamfall.photos.camera_process import ANY
from beamfall.shots.exposure import BULB, MANUAL, Exposure
from beamfall.text import show_text

VIRTUAL = "VCAMERADIR"
_LOOK_S = 0.05
_OPEN_S = 15.0  # a camera that wakes up over USB takes a few seconds
_WHY_S = 1.0
_END_S = 0.5
_FULL_KB = 100_000  # less room than one raw file of any camera takes
# libgphoto2's results (gphoto2-result.h and gphoto2-port-result.h).
_BUSY = (-53, -60, -110)  # GP_ERROR_IO_USB_CLAIM, GP_ERROR_IO_LOCK, GP_ERROR_CAMERA_BUSY
# GP_ERROR_IO_USB_FIND, GP_ERROR_MODEL_NOT_FOUND, GP_ERROR_LIBRARY, GP_ERROR_IO
_GONE = (-52, -105, -4, -7)
_EVENTS_MOST = 1000  # not yet taken; beyond this the camera waits
_MODE_MOST = 40  # letters
_AWAKE = "Is it on and awake (press its shutter button halfway), and is its USB cable plugged in?"


class CameraSource:
    """A camera; `asked` is `usb` for the only one, a port (`usb:001,004`, `ptpip:192.168.1.1`) or part of its model."""

    quiet_s = 0.5
    knows_shot = False
    moves = True

    def __init__(self, asked: str) -> None:
        self.name = f"camera {show_text(asked)}"
        self._asked = asked
        self._process: subprocess.Popen[str] | None = None
        self._events: queue.Queue[dict[str, Any]] = queue.Queue(_EVENTS_MOST)
        self._early: list[dict[str, Any]] = []  # events to look at first the next time
        self._is_open = False
        self.settings: Exposure | None = None

    def open(self, folder: Path, between: Callable[[], object]) -> None:
        if importlib.util.find_spec("gphoto2") is None:
            raise MissingExtra("a camera needs gphoto2: pip install 'beamfall[camera]'")
        self._events, self._early = queue.Queue(_EVENTS_MOST), []
        self._process = subprocess.Popen(
            [sys.executable, "-m", "beamfall.photos.camera_process", self._asked, str(folder)],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.DEVNULL,
            text=True,
            encoding="utf-8",
            env={**os.environ, "PYTHONPATH": _add_own_path(os.environ.get("PYTHONPATH", ""))},
            start_new_session=True,  # Ctrl-C is for this program
        )
        assert self._process.stdout is not None
        threading.Thread(
            target=_read_events, args=(self._process.stdout, self._events), daemon=True
        ).start()
        end = time.monotonic() + _OPEN_S
        while (event := self._wait(_LOOK_S)) is None and time.monotonic() < end:
            between()
        if event is None:
            self.close()
            raise CameraError(
                CameraProblem.NO_ANSWER,
                f"{self.name} does not answer. {_AWAKE} Set its USB mode to PTP or PC remote",
            )
        if event["event"] != "opened":
            self.close()
            raise self._explain_failure(event)
        self.name = f"{show_text(event['model'])} on {show_text(event['port'])}"
        self.settings = read_settings(event["settings"])
        self._is_open = True

    def expect(self, shot: ExpectedShot) -> None:
        if os.environ.get(VIRTUAL):
            self._send("press")

    def take(self, timeout_s: float) -> list[Path]:
        files = []
        event = self._wait(timeout_s)
        while event is not None:
            if event["event"] == "file":
                files.append(Path(event["path"]))
                self.settings = read_settings(event["settings"])
            elif event["event"] in ("failed", "ended"):
                if files:  # the next call says so
                    self._early.append(event)
                    break
                raise self._explain_failure(event)
            event = self._wait(0.0)
        return files

    def explain(self) -> CameraError | None:
        self._send("why")
        end = time.monotonic() + _WHY_S
        while (left := end - time.monotonic()) > 0.0:
            event = self._wait(left)
            if event is None:
                break
            if event["event"] == "file":
                self._early.append(event)
                return None
            if event["event"] != "answer":
                return self._explain_failure(event)
            free_kb = event["free_kb"]
            if free_kb is not None and free_kb < _FULL_KB:
                return CameraError(
                    CameraProblem.CARD_FULL,
                    f"no picture came from {self.name}: its card has {free_kb / 1000:.0f} MB left. "
                    "Change the card, or delete pictures that you have elsewhere",
                )
            return None
        return CameraError(CameraProblem.NO_ANSWER, f"{self.name} has stopped answering. {_AWAKE}")

    def close(self) -> None:
        process, self._process, self._is_open = self._process, None, False
        if process is None:
            return
        with contextlib.suppress(OSError):
            assert process.stdin is not None
            process.stdin.close()  # ends it, wherever it is
        with contextlib.suppress(queue.Empty):
            while True:  # so that a thread waiting to report something can end
                self._events.get_nowait()
        try:
            process.wait(_END_S)
        except subprocess.TimeoutExpired:
            process.kill()
            process.wait()

    def _send(self, command: str) -> None:
        if self._process is None or self._process.stdin is None:
            return
        with contextlib.suppress(OSError):  # it has ended: the next event says why
            self._process.stdin.write(f"{command}\n")
            self._process.stdin.flush()

    def _wait(self, timeout_s: float) -> dict[str, Any] | None:
        if self._early:
            return self._early.pop(0)
        with contextlib.suppress(queue.Empty):
            return self._events.get(timeout=timeout_s) if timeout_s else self._events.get_nowait()
        return None

    def _explain_failure(self, event: Mapping[str, Any]) -> CameraError:
        code = event.get("code")
        if code in ("none", "several"):
            return self._explain_choice(event["cameras"])
        if code == "unsaved":
            return CameraError(
                CameraProblem.NOT_KEPT,
                f"a picture is only on the card of {self.name}: {show_text(event['text'])}",
            )
        if code in _BUSY:
            return CameraError(
                CameraProblem.BUSY,
                f"{self.name} is in use by another program. Close it; on a desktop, eject the camera in the "
                "file manager",
            )
        if self._is_open:
            return CameraError(
                CameraProblem.LOST,
                f"{self.name} has disconnected ({show_text(event.get('text') or 'its driver ended')}). {_AWAKE} "
                "Its pictures are on its card",
            )
        problem = CameraProblem.NOT_FOUND if code in _GONE else CameraProblem.NO_ANSWER
        return CameraError(
            problem, f"{self.name} cannot be opened ({show_text(event.get('text', ''))}). {_AWAKE}"
        )

    def _explain_choice(self, cameras: list[list[str]]) -> CameraError:
        listed = ", ".join(f"{show_text(model)} on {show_text(port)}" for model, port in cameras)
        if self._asked != ANY and not any(
            self._asked.casefold() in f"{c}".casefold() for c in cameras
        ):
            there = f"Found: {listed}" if listed else _AWAKE
            return CameraError(CameraProblem.NOT_FOUND, f"no {self.name}. {there}")
        if listed:
            return CameraError(
                CameraProblem.SEVERAL,
                f"several cameras: {listed}. Name one by its port or model: --camera {cameras[0][1]}",
            )
        return CameraError(CameraProblem.NOT_FOUND, f"no camera found. {_AWAKE}")


def read_settings(settings: Mapping[str, str]) -> Exposure:
    """Return what a camera says about its settings, in whatever words it has for them."""
    speed = settings.get("shutterspeed2") or settings.get("shutterspeed") or ""
    mode = (settings.get("expprogram") or settings.get("autoexposuremode") or "").strip()
    iso = settings.get("iso", "")
    auto = [settings[name] for name in ("isoauto", "autoiso") if name in settings]
    modes = {"m": MANUAL, "manual": MANUAL, "bulb": BULB, "b": BULB, "p": "program", "a": "aperture priority",
             "av": "aperture priority", "s": "shutter priority", "tv": "shutter priority"}  # fmt: skip
    is_bulb = "bulb" in speed.lower()
    return Exposure(
        time_s=None if is_bulb else _read_fraction(speed),
        aperture=_read_number(settings.get("f-number") or settings.get("aperture") or ""),
        iso=None if (value := _read_number(iso)) is None else round(value),
        focal_length_m=None
        if (focal := _read_number(settings.get("focallength", ""))) is None
        else focal * 1e-3,
        mode=BULB if is_bulb else modes.get(mode.lower(), mode.lower()[:_MODE_MOST] or None),
        iso_auto=True
        if "auto" in iso.lower() or any(one.lower() in ("on", "1", "auto") for one in auto)
        else None,
    )


def _read_number(text: str) -> float | None:
    found = re.search(r"\d{1,9}(?:\.\d{1,9})?", text)
    return float(found[0]) if found and float(found[0]) > 0.0 else None


def _read_fraction(text: str) -> float | None:
    found = re.search(r"(\d{1,9})/(\d{1,9})", text)
    if found:
        return int(found[1]) / int(found[2]) if int(found[1]) and int(found[2]) else None
    return _read_number(text)


def _read_events(stream: IO[str], events: queue.Queue[dict[str, Any]]) -> None:
    with contextlib.suppress(OSError, ValueError), stream:
        for line in stream:
            event = json.loads(line)
            if isinstance(event, dict) and "event" in event:
                events.put(event)
    events.put({"event": "ended"})


def _add_own_path(paths: str) -> str:
    own = str(Path(__file__).parents[2])
    return os.pathsep.join([own, paths]) if paths else own
