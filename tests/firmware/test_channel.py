"""The simulated board's process ends when its host has gone, however the connection breaks."""

from __future__ import annotations

import os
import socket
import struct
import sys
import threading
from collections.abc import Callable, Iterator

import pytest

from ports.simulated.channel import ProcessChannel

HEAD = struct.pack("<I8s4s8s", 125_000_000, b"a board!", b"luck", bytes(8))
# SO_LINGER for no time: as a kernel ends a killed program's line.
DIE_WITH_A_RESET = struct.pack("ii", 1, 0)


@pytest.fixture
def pair(monkeypatch: pytest.MonkeyPatch) -> Iterator[tuple[ProcessChannel, socket.socket]]:
    """The board's end and the host's end of the rig's socket."""
    reading, writing = os.pipe()
    with (
        socket.create_server(("127.0.0.1", 0)) as server,
        os.fdopen(reading, "rb", buffering=0) as console,
    ):
        monkeypatch.setattr(sys, "stdin", console)
        port = server.getsockname()[1]
        accepted: list[socket.socket] = []

        def greet() -> None:
            connection, _ = server.accept()
            connection.sendall(HEAD)
            accepted.append(connection)

        thread = threading.Thread(target=greet)
        thread.start()
        channel = ProcessChannel("127.0.0.1", port)
        thread.join()
        yield channel, accepted[0]
        accepted[0].close()
        channel._socket.close()
        os.close(writing)


def leave(host: socket.socket) -> None:
    host.close()


def be_killed(host: socket.socket) -> None:
    host.setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, DIE_WITH_A_RESET)
    host.close()


@pytest.mark.parametrize("later_s", [None, 0.05], ids=["before it asks", "while it waits"])
@pytest.mark.parametrize("go", [leave, be_killed])
def test_a_board_whose_host_has_gone_ends(
    go: Callable[[socket.socket], None],
    later_s: float | None,
    pair: tuple[ProcessChannel, socket.socket],
) -> None:
    """The main loop would take an OSError for a fault of its own and go on at full speed for ever."""
    channel, host = pair
    timer = threading.Timer(later_s or 0.0, go, [host])
    timer.start()
    if later_s is None:
        timer.join()
    with pytest.raises(SystemExit):
        for _ in range(3):  # a write may still go into a buffer
            channel.advance(1000)
    timer.join()
