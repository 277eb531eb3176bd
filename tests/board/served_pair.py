"""A simulated controller and its double, connected pin to pin, each behind a socket of its own, as the suite's options
`--port` and `--double` reach two real boards. Time is virtual and passes PACE times as fast as real time."""

from __future__ import annotations

import contextlib
import socket
import threading
import time

from beamfall.board_tools.double import find_double_profile, list_wires
from beamfall.board_tools.double.coupling import couple_boards
from beamfall.setup.board_profiles import find_profile
from beamfall.sim.embedded import SimulatedTransport

PACE = 8.0
_STEP_S = 0.002
_BEHIND_S = 0.1


class _Line:
    """One board at one socket; one host at a time."""

    def __init__(self, transport: SimulatedTransport) -> None:
        self.transport = transport
        self._server = socket.create_server(("127.0.0.1", 0))
        self._server.setblocking(False)
        self._host: socket.socket | None = None
        self.url = f"socket://127.0.0.1:{self._server.getsockname()[1]}"

    def move(self, out: bytes) -> None:
        """Pass on the bytes that wait, both ways."""
        if self._host is None:
            with contextlib.suppress(BlockingIOError):
                self._host, _ = self._server.accept()
                self._host.setblocking(False)
            return
        try:
            self._host.sendall(out)
            data = self._host.recv(4096)
            if not data:
                raise ConnectionError
            self.transport.write(data)
        except BlockingIOError:
            pass
        except OSError:
            self._host.close()
            self._host = None

    def close(self) -> None:
        if self._host is not None:
            self._host.close()
        self._server.close()


class ServedPair:
    """`with ServedPair() as pair:` serves both until the block ends."""

    def __init__(self, **options: object) -> None:
        profiles = (find_profile("pico"), find_double_profile())
        pair = couple_boards(profiles, list_wires(*profiles), **options)
        self._lines = (_Line(pair.first), _Line(pair.second))
        self.controller_url, self.double_url = (line.url for line in self._lines)
        self._stop = threading.Event()
        self._thread = threading.Thread(target=self._serve, daemon=True)

    def __enter__(self) -> ServedPair:
        self._thread.start()
        return self

    def __exit__(self, *_: object) -> None:
        self._stop.set()
        self._thread.join(60.0)
        for line in self._lines:
            line.close()
            line.transport.close()

    def _serve(self) -> None:
        begun = time.monotonic()
        first = self._lines[0].transport
        while not self._stop.is_set():
            for line in self._lines:
                line.move(line.transport.read(_STEP_S / 2))
            ahead = first.clock() / PACE - (time.monotonic() - begun)
            if ahead > 0:
                self._stop.wait(ahead)
            # Catching up at once would look to the boards like a silent host.
            elif ahead < -_BEHIND_S:
                begun -= ahead
