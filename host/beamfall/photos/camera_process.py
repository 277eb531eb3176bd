"""The process that talks to a camera: `python -m beamfall.photos.camera_process CAMERA FOLDER`.

libgphoto2's calls block for as long as the USB stack likes, and a driver may crash. Here they can do so without
stopping the program that holds the board: `beamfall.photos.camera` kills this process where it must end. Each line on
standard output is a JSON object with `event`: opened, file, failed, answer. Each line on standard input is a command:
`press` (only for libgphoto2's virtual camera, which has no contact) or `why`. The end of standard input ends it.
"""

from __future__ import annotations

import contextlib
import json
import os
import queue
import secrets
import signal
import sys
import threading
import time
from pathlib import Path
from typing import Any

from beamfall.errors import FileWriteError
from beamfall.files import write_bytes

ANY = "usb"  # the name of whatever single camera is there
NETWORK = "ptpip:"
_LOOK_MS = 200
_SAME_S = 20.0  # a camera with two cards writes the same file twice within this
_SETTINGS = (
    "iso", "isoauto", "autoiso", "f-number", "aperture", "shutterspeed", "shutterspeed2", "expprogram",
    "autoexposuremode", "focallength",
)  # fmt: skip


class Session:
    """One camera, opened."""

    def __init__(self, name: str, folder: Path, out: Any) -> None:
        import gphoto2  # the extra `camera`; VCAMERADIR must be set before

        self._gp: Any = gphoto2
        self._folder = folder
        self._out = out
        self._token = secrets.token_hex(3)
        self._seen: dict[str, tuple[str, float]] = {}
        self._camera: Any = None
        self._open(name)

    def tell(self, event: str, **values: object) -> None:
        """Send an event."""
        self._out.write(json.dumps({"event": event, **values}) + "\n")
        self._out.flush()

    def _open(self, name: str) -> None:
        found = self._find(name)
        fitting = [one for one in found if _fits(name, *one)]
        if len(fitting) != 1:
            self.tell("failed", code="several" if fitting else "none", cameras=fitting or found)
            raise SystemExit(1)
        model, port = fitting[0]
        gp = self._gp
        camera = gp.Camera()
        ports, abilities = gp.PortInfoList(), gp.CameraAbilitiesList()
        ports.load()
        abilities.load()
        camera.set_port_info(ports[ports.lookup_path(port)])
        camera.set_abilities(abilities[abilities.lookup_model(model)])
        camera.init()
        self._camera = camera
        self._save_to_card()
        self.tell("opened", model=model, port=port, settings=self._read_settings())

    def _find(self, name: str) -> list[tuple[str, str]]:
        if name.startswith(NETWORK):
            return [("PTP/IP Camera", name)]
        found = self._gp.Camera.autodetect()
        return [(found.get_name(index), found.get_value(index)) for index in range(found.count())]

    def _save_to_card(self) -> None:
        """Save to the card: a picture only in the camera's memory would be lost if the cable is pulled."""
        with contextlib.suppress(self._gp.GPhoto2Error):
            target = self._camera.get_single_config("capturetarget")
            for choice in target.get_choices():
                if "card" in choice.lower():
                    target.set_value(choice)
                    self._camera.set_single_config("capturetarget", target)
                    return

    def _read_settings(self) -> dict[str, str]:
        settings: dict[str, str] = {}
        for name in _SETTINGS:
            with contextlib.suppress(self._gp.GPhoto2Error):
                settings[name] = str(self._camera.get_single_config(name).get_value())
        return settings

    def listen(self) -> None:
        """Wait a moment for something to happen, and fetch what has come."""
        gp = self._gp
        try:
            kind, data = self._camera.wait_for_event(_LOOK_MS)
        except gp.GPhoto2Error as error:
            if error.code == gp.GP_ERROR_CAMERA_BUSY:
                return
            raise
        if kind == gp.GP_EVENT_FILE_ADDED:
            self._fetch(data.folder, data.name)

    def _fetch(self, folder: str, name: str) -> None:
        earlier_folder, earlier_s = self._seen.get(name, (folder, 0.0))
        self._seen[name] = (folder, time.monotonic())
        if earlier_folder != folder and time.monotonic() - earlier_s < _SAME_S:
            return
        file = self._camera.file_get(folder, name, self._gp.GP_FILE_TYPE_NORMAL)
        safe = "".join(one if one.isalnum() or one in "._-" else "_" for one in name)[-80:]
        target = self._folder / f"new-{self._token}-{safe}"
        number = 1
        while target.exists():
            number += 1
            target = target.with_stem(f"{target.stem}-{number}")
        try:
            write_bytes(target, memoryview(file.get_data_and_size()))
        except FileWriteError as error:
            self.tell("failed", code="unsaved", text=str(error))
            raise SystemExit(1) from error
        self.tell("file", path=str(target), settings=self._read_settings())

    def obey(self, command: str) -> None:
        """Carry out a command."""
        if command == "press":
            self._camera.trigger_capture()
        elif command == "why":
            self.tell("answer", free_kb=self._find_free_kb())

    def _find_free_kb(self) -> int | None:
        with contextlib.suppress(self._gp.GPhoto2Error):
            cards = [
                one
                for one in self._camera.get_storageinfo()
                if one.fields & self._gp.GP_STORAGEINFO_FREESPACEKBYTES
            ]
            return max((int(one.freekbytes) for one in cards), default=None)
        return None


def _fits(name: str, model: str, port: str) -> bool:
    if name == ANY:
        return True
    if name.startswith((f"{ANY}:", NETWORK)):
        return port == name
    return name.casefold() in model.casefold()


def _read_commands(commands: queue.Queue[str]) -> None:
    for line in sys.stdin:
        commands.put(line.strip())
    os._exit(0)  # the program has gone; a call into the camera may never return


def main() -> None:
    """Open the camera and send what comes of it, until standard input ends."""
    # Ctrl-C is for the program, which ends this process
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    out = os.fdopen(os.dup(1), "w", encoding="utf-8")
    os.dup2(2, 1)  # what a driver prints is not an event
    commands: queue.Queue[str] = queue.Queue()
    threading.Thread(target=_read_commands, args=(commands,), daemon=True).start()
    try:
        session = Session(sys.argv[1], Path(sys.argv[2]), out)
        while True:
            with contextlib.suppress(queue.Empty):
                session.obey(commands.get_nowait())
            session.listen()
    except Exception as error:
        code = getattr(error, "code", None)
        failure = {"event": "failed", "code": code, "text": str(error)}
        out.write(json.dumps(failure) + "\n")
        out.flush()
        raise SystemExit(1) from error


if __name__ == "__main__":
    main()
