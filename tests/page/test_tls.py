"""The page with TLS: its own certificate, and clients that never end their handshake."""

from __future__ import annotations

import contextlib
import hashlib
import json
import socket
import ssl
import stat
from collections.abc import Callable
from http.client import HTTPSConnection
from pathlib import Path

import pytest
from page_helpers import QUICK_RIG, Served
from websockets.sync.client import connect as websocket
from websockets.typing import Origin

from beamfall.page import connections
from beamfall.page.encryption import get_certificate

Serve = Callable[..., Served]


def trust(served: Served) -> ssl.SSLContext:
    """Trust this server's certificate alone, and check the name in it."""
    assert served.server.certificate is not None
    return ssl.create_default_context(cafile=str(served.server.certificate.file))


def connect(served: Served) -> HTTPSConnection:
    port = served.server.door.port
    return HTTPSConnection("127.0.0.1", port, timeout=20, context=trust(served))


@pytest.fixture
def served(serve: Serve) -> Served:
    return serve(rig=QUICK_RIG, tls=True)


def test_the_link_and_the_cookie_work_over_tls_with_the_fingerprint_that_is_printed(
    served: Served,
) -> None:
    client = connect(served)
    client.connect()
    sent = client.sock.getpeercert(binary_form=True)
    assert served.server.certificate is not None
    printed = served.server.certificate.fingerprint.replace(":", "").lower()
    assert hashlib.sha256(sent).hexdigest() == printed
    address, _, code = served.link.partition("#")
    assert address.startswith("https://")
    headers = {"origin": served.origin, "content-type": "application/json"}
    client.request("POST", "/enter", json.dumps({"code": code}), headers)
    answer = client.getresponse()
    answer.read()
    cookie = answer.getheader("set-cookie", "")
    assert answer.status == 204 and "Secure" in cookie
    client.request("GET", "/series", headers={"cookie": cookie.partition(";")[0]})
    assert client.getresponse().status == 200
    with websocket(
        served.origin.replace("https", "wss", 1) + "/live", ssl=trust(served), origin=Origin(served.origin),
        additional_headers={"cookie": cookie.partition(";")[0]}, open_timeout=20,
    ) as live:  # fmt: skip
        assert "all" in json.loads(live.recv(timeout=20))


def test_the_certificate_is_kept_and_its_key_is_its_users_alone(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("BEAMFALL_LOG", str(tmp_path / "shots.sqlite3"))
    first = get_certificate(["localhost", "127.0.0.1"])
    assert get_certificate(["localhost"]) == first
    assert stat.S_IMODE(first.file.stat().st_mode) == 0o600


def test_handshakes_that_never_end_are_counted_closed_and_lock_nobody_out(
    served: Served, monkeypatch: pytest.MonkeyPatch
) -> None:
    held = served.server.connections
    with contextlib.ExitStack() as stack:
        for number in range(3 * held.strangers_most):
            one = socket.create_connection(("127.0.0.1", served.server.door.port), timeout=20)
            stack.enter_context(one)
            with contextlib.suppress(ConnectionError):
                one.sendall((b"", b"\x16\x03\x01", b"GET / HTTP/1.1\r\n")[number % 3])
        client = connect(served)
        client.request("GET", "/")
        assert client.getresponse().status == 200
        served.wait(lambda: 0 < held.strangers <= held.strangers_most)
        monkeypatch.setattr(connections, "STRANGER_S", 0.1)
        silent = stack.enter_context(
            socket.create_connection(("127.0.0.1", served.server.door.port), timeout=20)
        )
        with contextlib.suppress(ConnectionError):
            assert silent.recv(1) == b"", "closed before any handshake"
