"""Serial ports and pyserial URLs as a transport."""

from __future__ import annotations

import contextlib
import errno
import os
import re
import socket
import sys
import time
from collections.abc import Callable
from typing import Any

from beamfall.errors import LinkLost, PortBusy, PortDenied, PortNotFound, PortSyntaxError
from beamfall.link.line_levels import recall_levels
from beamfall.link.port_list import PortSeen, is_same_device, list_ports
from beamfall.link.traits import REAL

BAUDRATE = 115200  # means nothing on USB; the speed of boards behind a UART bridge
_SLICE_S = 0.02  # longest single wait inside pyserial; changing its timeout reconfigures the port
_READ_MAX = 4096
# A device that accepts nothing for this long has hung; a frame takes 22 ms at 115200 baud
_WRITE_S = 3.0


class SerialTransport:
    """A serial port or any other pyserial URL (`socket://`, `rfc2217://`, `loop://`).

    `dtr` is the level of that line from before the port opens: on by default, since MicroPython
    on USB sends nothing to a host that does not raise it; off for boards that reset when DTR
    changes. `rts` is the same for RTS. None leaves pyserial's default. Opening writes nothing.
    Raises PortNotFound, PortBusy, PortDenied, PortSyntaxError.
    """

    traits = REAL

    def __init__(self, url: str, *, dtr: bool | None = True, rts: bool | None = True) -> None:
        self.name = url
        self._port: Any = _open_port(url, dtr, rts)

    def read(self, timeout_s: float) -> bytes:
        """Return the bytes received so far; wait at most `timeout_s` for the first one."""
        deadline_s = time.monotonic() + timeout_s
        try:
            while True:
                waiting = self._port.in_waiting
                if waiting:
                    return self._read_waiting(waiting)
                if time.monotonic() >= deadline_s:
                    return b""
                data: bytes = self._port.read(1)
                if data:
                    return data + self._read_waiting(self._port.in_waiting)
        except (OSError, TypeError, AttributeError) as error:
            # pyserial raises TypeError or AttributeError if the port closes meanwhile.
            raise self._make_lost(error) from error

    def _read_waiting(self, waiting: int) -> bytes:
        data = bytearray()
        while waiting and len(data) < _READ_MAX:
            data += self._port.read(min(waiting, _READ_MAX))
            waiting = self._port.in_waiting
        return bytes(data)

    def write(self, data: bytes) -> None:
        """Send all of `data`."""
        try:
            sent = 0
            while sent < len(data):
                sent += self._port.write(data[sent:]) or 0
        except _timeout_error() as error:
            raise LinkLost(
                f"{self.name} accepts no more bytes: the device has hung or does not read; "
                "reset the board, then connect again"
            ) from error
        except (OSError, TypeError, AttributeError) as error:
            raise self._make_lost(error) from error

    def clock(self) -> float:
        """Return seconds of the monotonic clock."""
        return time.monotonic()

    def sleep(self, seconds: float) -> None:
        time.sleep(seconds)

    def close(self) -> None:
        """Close the port, even if it has disappeared."""
        # An error here means that it is already closed, which is fine.
        with contextlib.suppress(OSError, TypeError, AttributeError):
            self._port.close()

    def _make_lost(self, error: Exception) -> LinkLost:
        return LinkLost(
            f"{self.name} disappeared ({error}); check the cable and that no other program uses it"
        )


class SerialReconnector:
    """Opens a port again after it was lost, even if the system has renamed it.

    It finds a USB board again by its serial number. Pass `open` as the `reconnect` of a Link. DTR
    and RTS get the levels that the board needs, if they are known (`line_levels`).
    """

    def __init__(self, url: str) -> None:
        self._url = url
        self._levels = recall_levels(url)
        self._serial_number = next(
            (port.serial_number for port in list_ports() if is_same_device(port.device, url)), None
        )

    def open(self) -> SerialTransport:
        """Open the port; raises as SerialTransport does."""
        url = self._url
        if self._serial_number:
            for port in list_ports():
                if port.serial_number == self._serial_number:
                    url = port.device
        return SerialTransport(url, dtr=self._levels.dtr, rts=self._levels.rts)


brings_rig = REAL.brings_rig


def open_port(
    name: str, rig: object = None, seed: int = 0
) -> tuple[SerialTransport, Callable[[], SerialTransport]]:
    """See `beamfall.ports.PortModule`; raises as SerialTransport does."""
    reconnector = SerialReconnector(name)
    return reconnector.open(), reconnector.open


def _timeout_error() -> type[OSError]:
    import serial

    error: type[OSError] = serial.SerialTimeoutException
    return error


def _open_port(url: str, dtr: bool | None, rts: bool | None) -> Any:
    import serial

    try:
        port = serial.serial_for_url(
            url,
            do_not_open=True,
            baudrate=BAUDRATE,
            timeout=_SLICE_S,
            write_timeout=_WRITE_S,
            # Two programs on one port would take each other's bytes.
            exclusive=True if os.name == "posix" and "://" not in url else None,
        )
        if dtr is not None:
            port.dtr = dtr
        if rts is not None:
            port.rts = rts
        port.open()
    except ValueError as error:
        raise PortSyntaxError(
            f"{url!r} is not a port: {error}; use a name such as {_example()} or a pyserial URL"
        ) from error
    except OSError as error:  # SerialException is one
        raise _explain(url, error) from error
    return port


def _explain(url: str, error: OSError) -> Exception:
    """Turn the operating system's error on opening into one of ours, with the cure."""
    text = str(error)
    code = error.errno if error.errno is not None else _find_code(text)
    windows = sys.platform == "win32"
    if code in (errno.EAGAIN, errno.EBUSY) or (windows and "PermissionError" in text):
        return PortBusy(
            f"{url} is in use by another program; close it (a terminal, an editor's serial "
            "monitor, a second beamfall) and try again"
        )
    if code in (errno.EACCES, errno.EPERM):
        return PortDenied(f"{url}: permission denied; {_rights_hint()}")
    if "://" in url:
        known = "it names no host and port" if code is None else os.strerror(abs(code)).lower()
        why = _UNREACHED.get(code or 0, known)
        return PortNotFound(f"{url} cannot be reached: {why}; check host, port and network")
    if code in (errno.ENOTTY, errno.EINVAL, errno.EISDIR, errno.ENODEV, errno.ENXIO):
        return PortNotFound(f"{url} is not a serial port; {_list(list_ports())}")
    if code == errno.ENOENT:
        return PortNotFound(f"there is no port {url}; {_list(list_ports())}")
    return PortNotFound(f"{url} does not exist or cannot be opened ({text}); {_list(list_ports())}")


def _find_code(text: str) -> int | None:
    """Return the errno from pyserial's text, for when it does not pass it on."""
    found = re.search(r"(?:\(|\[Errno )(-?\d+)[],]", text)
    return int(found[1]) if found else None


_UNREACHED = {
    errno.ECONNREFUSED: "nothing answers there",
    errno.ETIMEDOUT: "nothing answers there",
    errno.EHOSTUNREACH: "there is no way to that computer",
    errno.ENETUNREACH: "there is no way to that network",
    **dict.fromkeys((socket.EAI_NONAME, socket.EAI_AGAIN), "no computer of that name is known"),
}


def _rights_hint() -> str:
    if sys.platform == "linux":
        return (
            "add yourself to the group that owns it, usually: sudo usermod -a -G dialout $USER "
            "(on some systems uucp), and log in again; or install a udev rule: "
            'SUBSYSTEM=="tty", ATTRS{idVendor}=="2e8a", MODE="0660", TAG+="uaccess"'
        )
    return "run the program as a user who may open it"


def _list(ports: list[PortSeen]) -> str:
    if not ports:
        return "this computer has no serial port at the moment"
    return "ports here: " + "; ".join(str(port) for port in ports)


def _example() -> str:
    return {"win32": "COM3", "darwin": "/dev/cu.usbmodem1101"}.get(sys.platform, "/dev/ttyACM0")
