"""Clients that send nothing, or send slowly, neither lock anybody out nor use up the program's descriptors."""

from __future__ import annotations

import contextlib
import resource
import socket
import threading
from collections.abc import Iterator
from types import SimpleNamespace

import pytest
from page_helpers import QUICK_RIG, Asker, Serve, Served

from beamfall.page import connections
from beamfall.shots import ShotLog

CROWD = 220


@pytest.fixture
def served(serve: Serve) -> Served:
    served = serve(rig=QUICK_RIG)
    served.wait(lambda: served.is_connected)
    return served


@pytest.fixture
def crowd(served: Served) -> Iterator[list[socket.socket]]:
    """Connections without a token that send nothing, the beginning of a request, or its body slowly."""
    host = f"127.0.0.1:{served.server.door.port}"
    slow_body = (
        f"POST /enter HTTP/1.1\r\nhost: {host}\r\norigin: http://{host}\r\n"
        "content-type: application/json\r\ncontent-length: 20\r\n\r\n{"
    )
    beginnings = (b"", b"GET / HTT", slow_body.encode())
    with contextlib.ExitStack() as stack:
        found = []
        for number in range(CROWD):
            one = socket.create_connection(("127.0.0.1", served.server.door.port), timeout=20)
            found.append(stack.enter_context(one))
            with contextlib.suppress(ConnectionError):
                one.sendall(beginnings[number % len(beginnings)])
        yield found


def test_whoever_has_the_token_gets_in_and_aborts(
    served: Served, crowd: list[socket.socket]
) -> None:
    asker = Asker(served)
    assert asker.ask("GET", "/shots")[0] == 200
    assert asker.ask("POST", "/do/abort", b"{}")[0] == 200
    assert asker.ask("GET", "/")[0] == 200, "so does a browser with a new link"
    held = served.server.connections
    served.wait(lambda: held.strangers <= held.strangers_most)


def test_the_crowd_takes_a_small_part_of_the_descriptors(monkeypatch: pytest.MonkeyPatch) -> None:
    for allowed in (256, 1024, 65536, resource.RLIM_INFINITY):
        limits = (allowed, allowed)
        monkeypatch.setattr(resource, "getrlimit", lambda _, found=limits: found)
        counted = connections.Connections(lambda _: False)
        assert counted.strangers_most + counted.friends_most + 50 < 0.6 * (
            allowed if allowed > 0 else 1e9
        )


def test_a_stranger_has_a_limited_time(serve: Serve, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(connections, "STRANGER_S", 0.2)
    served = serve(rig=QUICK_RIG)
    with socket.create_connection(("127.0.0.1", served.server.door.port), timeout=20) as slow:
        slow.sendall(b"GET / HTTP/1.1\r\n")
        with contextlib.suppress(ConnectionError):
            assert slow.recv(100) == b""
    served.wait(lambda: served.server.connections.strangers == 0)


def test_one_address_does_not_take_the_place_of_another() -> None:
    """The oldest connection of the address that has most is closed."""

    class Fake:
        def __init__(self, address: str) -> None:
            self.address = address
            self.dropped = False

        def drop(self) -> None:
            self.dropped = True
            held.forget(self)  # type: ignore[arg-type]

    held = connections.Connections(lambda _: False, strangers_most=5)
    tablet = Fake("192.0.2.1")
    held.admit(tablet)  # type: ignore[arg-type]
    attackers = [Fake("192.0.2.66") for _ in range(50)]
    for one in attackers:
        held.admit(one)  # type: ignore[arg-type]
    assert not tablet.dropped
    assert [one.dropped for one in attackers] == [True] * 46 + [False] * 4


def test_outputs_go_off_as_soon_as_the_server_is_asked_to_end(
    served: Served, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Browsers that stay connected keep it for a second; a series must not release a shot meanwhile."""
    server = served.server
    with monkeypatch.context() as patch:
        patch.setattr(server, "_server", SimpleNamespace(should_exit=False))
        server.stop()
        server.bench._thread.join(20.0)
    assert not server.bench._thread.is_alive()


@pytest.mark.full
def test_a_request_under_way_when_the_page_ends_is_cut_off_without_a_word(
    serve: Serve, monkeypatch: pytest.MonkeyPatch, capfd: pytest.CaptureFixture[str]
) -> None:
    is_asked, may_end = threading.Event(), threading.Event()

    def list_slowly(log: object) -> dict[str, object]:
        is_asked.set()
        may_end.wait(30.0)
        return {}

    monkeypatch.setattr("beamfall.page.review.list_lines", list_slowly)
    served = serve(rig=QUICK_RIG)
    ShotLog.open(served.server.bench.log_path).close()
    asking = threading.Thread(target=Asker(served).ask, args=("GET", "/shots"))
    asking.start()
    assert is_asked.wait(30.0)
    threading.Timer(1.5, may_end.set).start()  # later than the page waits for a request
    served.stop()
    asking.join(30.0)
    assert capfd.readouterr().err == ""
