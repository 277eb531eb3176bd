"""A simulated board in this process, reached over a socket: it lives on when the program at it is killed.

Its time is virtual and passes while this loop runs, faster than real time. `valve_openings` is what
the rig at its pins saw: the witness of what was truly released.
"""

from __future__ import annotations

import socket
import threading
import time

from beamfall.errors import LinkLost
from beamfall.setup.sequence import Row, Sequence
from beamfall.setup.signals import Signal
from beamfall.sim.build import build_rig
from beamfall.sim.embedded import SimulatedTransport
from beamfall.sim.rig import SimulatedRig

_STEP_S = 0.005
_ACCEPT_S = 0.1
_UNSENT_MOST = 64 * 1024
TWO_DROPS = Sequence(
    rows=(
        Row("release", 0, "valve1", 0.101, 0.013),
        Row("release", 0, "valve1", 0.2056, 0.013),
        Row("beam1", 2, "flash1", 0.186, 0.002),
    ),
    window_s=1.0,
    blanking_s=0.02,
)


class _Witness(SimulatedRig):
    openings = 0

    def drive(self, signal: int, level: int, ticks: int) -> None:
        valve = Signal["valve1"]
        self.openings += int(signal == valve and level == 1)
        super().drive(signal, level, ticks)


class ServedBoard:
    """`with ServedBoard() as board:` serves it at `board.url` until the block ends."""

    def __init__(self, seed: int = 1) -> None:
        self._rig = _Witness(build_rig(None, seed).model, seed)
        self._board = SimulatedTransport(self._rig, seed=seed)
        self._server = socket.create_server(("127.0.0.1", 0))
        self._server.settimeout(_ACCEPT_S)
        self._stop = threading.Event()
        self._is_free = threading.Event()
        self._is_free.set()
        # A host has connected; whoever waits for one clears it first.
        self.is_met = threading.Event()
        self._thread = threading.Thread(target=self._serve, daemon=True)
        self.url = f"socket://127.0.0.1:{self._server.getsockname()[1]}"

    @property
    def valve_openings(self) -> int:
        return self._rig.openings

    def __enter__(self) -> ServedBoard:
        self._thread.start()
        return self

    def __exit__(self, *_: object) -> None:
        self._stop.set()
        self._thread.join(60.0)
        self._server.close()
        self._board.close()

    def wait_until_left(self, seconds: float = 10.0) -> None:
        """Return when no host is connected and the board has received everything, or after that time."""
        self._is_free.wait(seconds)
        time.sleep(2 * _ACCEPT_S)

    def _hear(self, data: bytes) -> bytes:
        """The part of the host's bytes that reaches the board; for boards that misbehave."""
        return data

    def _say(self, data: bytes) -> bytes | None:
        """The part of the board's bytes that reaches the host; None: the board is gone for good."""
        return data

    def _let_run(self) -> bytes:
        """Let the board's time pass; return what it says: nothing while it is in maintenance."""
        try:
            return self._board.read(_STEP_S)
        except LinkLost:
            self._stop.wait(_STEP_S)
            return b""

    def _serve(self) -> None:
        connection: socket.socket | None = None
        unsent = b""
        while not self._stop.is_set():
            if connection is None:
                unsent = b""
                self._is_free.set()
                try:
                    connection, _ = self._server.accept()
                    self._is_free.clear()
                    self.is_met.set()
                    connection.setblocking(False)
                except TimeoutError:
                    self._let_run()
                    continue
            try:
                data = connection.recv(4096)
                if not data:
                    raise ConnectionError
                self._board.write(self._hear(data))
            except BlockingIOError:
                pass
            except OSError:
                connection.close()
                connection = None
                continue
            out = self._say(self._let_run())
            if out is None:
                connection.close()
                connection = None
                self._stop.wait()
                continue
            # A host that does not read holds nothing up: what it misses is lost, and the board still hears it.
            unsent += out[: _UNSENT_MOST - len(unsent)]
            if not unsent:
                self._stop.wait(0.0002)  # the other process wants to run, too
                continue
            try:
                unsent = unsent[connection.send(unsent) :]
            except BlockingIOError:
                self._stop.wait(0.001)
            except OSError:
                connection.close()
                connection = None
