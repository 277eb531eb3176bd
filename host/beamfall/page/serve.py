"""The server's life: its socket, its door, and who may connect."""

from __future__ import annotations

import ipaddress
import logging
import secrets
import socket
import sys
import threading
import time
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor, wait
from dataclasses import dataclass
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

from beamfall import __version__
from beamfall.errors import MissingExtra, UserError
from beamfall.interrupts import check_stop
from beamfall.page.camera import CameraChoice
from beamfall.page.door import Door, own_names
from beamfall.page.encryption import get_certificate
from beamfall.page.hub import Hub
from beamfall.page.listening import Opener

_BACKLOG = 64  # connections accepted in one go, before any of them can be counted and closed
_LOOK_S = 0.2  # how often the main thread checks whether the server has ended


@dataclass(frozen=True)
class Listen:
    """Where to listen: an address and a port, 0 for any free one."""

    host: str
    port: int


def parse_listen(text: str) -> Listen:
    """Read `127.0.0.1:0`, `[::1]:8080`, `localhost:8080`; raises UserError."""
    host, mark, port = text.rpartition(":")
    host = host.removeprefix("[").removesuffix("]")
    if not mark or not host or not port.isascii() or not port.isdigit() or int(port) > 65535:
        raise UserError(
            f"--listen {text!r}: expected an address and a port, such as 127.0.0.1:8080 (port 0: any free one)"
        )
    if host != "localhost":
        try:
            ipaddress.ip_address(host)
        except ValueError as error:
            raise UserError(
                f"--listen {text!r}: {host!r} is not an address; use 127.0.0.1 for this computer only, "
                "0.0.0.0 for everyone who can reach it"
            ) from error
    return Listen("127.0.0.1" if host == "localhost" else host, int(port))


def open_socket(listen: Listen) -> socket.socket:
    """Bind; raises UserError if the address is taken or not ours."""
    family = socket.AF_INET6 if ":" in listen.host else socket.AF_INET
    opened = socket.socket(family, socket.SOCK_STREAM)
    _keep_to_itself(opened)
    try:
        opened.bind((listen.host, listen.port))
        opened.listen()  # from here on a second page at the same address is refused
    except OSError as error:
        opened.close()
        raise UserError(
            f"--listen {listen.host}:{listen.port}: {error.strerror or error}; use another port, 0 for any free one"
        ) from error
    return opened


def _keep_to_itself(opened: socket.socket) -> None:
    """Prevent other programs from listening at the same address, but allow this one to return to it at once.

    Windows gives SO_REUSEADDR another meaning than POSIX: with it, any program may bind to an address
    that is in use and take its connections (Microsoft Learn, "Using SO_REUSEADDR and
    SO_EXCLUSIVEADDRUSE"), and here the token with them.
    """
    if sys.platform == "win32":
        opened.setsockopt(socket.SOL_SOCKET, socket.SO_EXCLUSIVEADDRUSE, 1)
    else:
        opened.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)


def _is_worth_saying(record: logging.LogRecord) -> bool:
    """Whether a log record of uvicorn matters to people: requests that are cut off when the page ends do not."""
    text = f"{record.getMessage()} {record.exc_info}"
    return "CancelledError" not in text and "graceful shutdown" not in text


class PageServer:
    """A page for one rig on one port. `run` serves until Ctrl-C or `stop`."""

    def __init__(
        self,
        opener: Opener,
        *,
        rig_file: Path | None = None,
        listen: Listen = Listen("127.0.0.1", 0),  # noqa: B008 - frozen
        seed: int = 0,
        pace: float = 1.0,
        log_path: Path | None = None,
        camera: str | None = None,
        photos: Path | None = None,
        tls: bool = False,
    ) -> None:
        """Bind the socket and read the rig; raises UserError, RigFileError, MissingExtra, FileWriteError."""
        try:
            import uvicorn

            from beamfall.page.app import make_app
        except ImportError as error:
            raise MissingExtra(
                f"the page needs {error.name}, which is not installed: pip install starlette uvicorn websockets"
            ) from error
        from beamfall.page.board_thread import BoardThread
        from beamfall.page.connections import Connections
        from beamfall.page.desk import Desk

        self.hub = Hub()
        self.hub.set(page={"version": __version__, "pace": pace})
        self.desk = Desk(self.hub, rig_file)
        self.bench = BoardThread(
            self.hub, self.desk, opener, log_path=log_path, seed=seed, pace=pace,
            chosen=CameraChoice(self.hub, camera, photos),
        )  # fmt: skip
        self._socket = open_socket(listen)
        self.door = Door(
            secrets.token_urlsafe(32),
            listen.host,
            self._socket.getsockname()[1],
            own_names(),
            scheme="https" if tls else "http",
        )
        self.certificate = None
        if tls:
            address = str(urlsplit(self.door.address).hostname)
            names = ("localhost", "127.0.0.1", *sorted(own_names()), address)
            self.certificate = get_certificate(dict.fromkeys(names))
        context = None if self.certificate is None else self.certificate.make_context()
        self.connections = Connections(self.door.knows, context=context)
        self._server: Any = uvicorn.Server(
            uvicorn.Config(
                make_app(self.hub, self.desk, self.bench, self.door),
                log_level="warning",
                access_log=False,
                server_header=False,
                proxy_headers=False,
                ws="websockets-sansio",
                ws_max_size=4096,
                ws_max_queue=16,
                http=self.connections.make_protocol,  # type: ignore[arg-type]
                h11_max_incomplete_event_size=32 * 1024,
                timeout_graceful_shutdown=1,
                backlog=_BACKLOG,
            )
        )
        logging.getLogger("uvicorn.error").addFilter(_is_worth_saying)

    @property
    def address(self) -> str:
        """Where the page is."""
        return self.door.address

    def run(self, when_up: Callable[[], None] | None = None) -> None:
        """Serve until Ctrl-C or `stop`; `when_up` is called once it answers."""
        if when_up is not None:
            threading.Thread(target=self._wait_up, args=(when_up,), daemon=True).start()
        if threading.current_thread() is not threading.main_thread():
            self._server.run(sockets=[self._socket])
            return
        # The main thread stays free for signals: inside the event loop one would tear the server apart.
        with ThreadPoolExecutor(1, thread_name_prefix="page") as pool:
            serving = pool.submit(self._server.run, sockets=[self._socket])
            try:
                while not serving.done():
                    wait([serving], timeout=_LOOK_S)
                    check_stop()
            except KeyboardInterrupt:
                self.stop()
                raise
        serving.result()

    def _wait_up(self, when_up: Callable[[], None]) -> None:
        while not self._server.started:
            time.sleep(0.02)
        when_up()

    def stop(self) -> None:
        """End `run`; from any thread. The outputs go off at once, before the browsers are gone."""
        self.bench.begin_closing()
        self._server.should_exit = True
