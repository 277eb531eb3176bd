"""The page with TLS: its own certificate, and clients that never end their handshake."""

from __future__ import annotations

import base64
import contextlib
import hashlib
import json
import re
import socket
import ssl
import stat
from http.client import HTTPSConnection
from pathlib import Path
from typing import Any

import pytest
from page_helpers import QUICK_RIG, Open, Serve, Served, expect, wait_ready
from websockets.sync.client import connect as websocket
from websockets.typing import Origin

from beamfall.errors import UserError
from beamfall.page import connections
from beamfall.page.encryption import get_certificate


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
        additional_headers={"cookie": cookie.partition(";")[0]}, open_timeout=60,
    ) as live:  # fmt: skip
        assert "all" in json.loads(live.recv(timeout=20))


def test_the_certificate_is_kept_and_its_key_is_its_users_alone(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    first = get_certificate(["localhost", "127.0.0.1"])
    assert get_certificate(["localhost"]) == first
    assert stat.S_IMODE(first.file.stat().st_mode) == 0o600


@pytest.mark.parametrize("part", ["BEGIN PRIVATE", "BEGIN CERTIFICATE", "MII", "", "\xff"])
def test_a_damaged_certificate_is_named_with_its_cure(
    part: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    file = get_certificate(["localhost"]).file
    text = file.read_text("ascii")
    file.write_text(text.replace(part, "x") if part.isascii() and part else part, "latin-1")
    with pytest.raises(UserError, match=f"{re.escape(str(file))}.*remove"):
        get_certificate(["localhost"]).make_context()


@pytest.mark.full
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


def test_clients_that_are_silent_or_slow_after_their_handshake_keep_nobody_from_aborting(
    served: Served, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Half a request, a byte at a time, and nothing at all; all of them encrypted."""
    held = served.server.connections
    anyone = ssl.create_default_context()
    anyone.check_hostname, anyone.verify_mode = False, ssl.CERT_NONE
    with contextlib.ExitStack() as stack:
        crowd = []
        for number in range(held.strangers_most + 10):
            one = socket.create_connection(("127.0.0.1", served.server.door.port), timeout=20)
            crowd.append(stack.enter_context(one))
            with contextlib.suppress(OSError):
                crowd[-1] = stack.enter_context(anyone.wrap_socket(one))
                crowd[-1].sendall(
                    (b"", b"G", b"POST /do/abort HTTP/1.1\r\ncontent-length: 9\r\n\r\n{")[
                        number % 3
                    ]
                )
        for one in crowd:
            with contextlib.suppress(OSError):
                one.sendall(b"E")
        headers = {
            "cookie": f"{served.server.door.cookie}={served.server.door.token}", "origin": served.origin,
            "content-type": "application/json",
        }  # fmt: skip
        client = connect(served)
        client.request("POST", "/do/abort", "{}", headers)
        assert client.getresponse().status == 200
        assert held.strangers <= held.strangers_most
        monkeypatch.setattr(connections, "STRANGER_S", 0.1)
        late = stack.enter_context(
            socket.create_connection(("127.0.0.1", served.server.door.port), timeout=20)
        )
        with contextlib.suppress(ConnectionError, ssl.SSLError):
            late = stack.enter_context(anyone.wrap_socket(late))
            assert late.recv(1) == b"", "closed before any request"


@pytest.mark.full
def test_a_browser_warns_once_shows_the_printed_fingerprint_and_takes_the_link_once(
    served: Served, browser: Any, open_page: Open
) -> None:
    certificate = served.server.certificate
    assert certificate is not None
    careful = browser.new_context()
    with pytest.raises(Exception, match="ERR_CERT_AUTHORITY_INVALID"):
        careful.new_page().goto(served.link)
    careful.close()
    link = served.link
    # This person has compared the fingerprints.
    page = open_page(link, ignore_https_errors=True)
    expect(page.locator("#arm")).to_be_visible()
    states: list[Any] = []
    devtools = page.context.new_cdp_session(page)
    devtools.on("Security.visibleSecurityStateChanged", lambda state: states.append(state))
    devtools.send("Security.enable")
    page.wait_for_timeout(300)
    shown = states[-1]["visibleSecurityState"]["certificateSecurityState"]["certificate"][0]
    sent = hashlib.sha256(base64.b64decode(shown)).hexdigest()
    assert sent == certificate.fingerprint.replace(":", "").lower()
    assert "#" not in page.url or link.partition("#")[2] not in page.url
    (cookie,) = [one for one in page.context.cookies() if one["name"] == served.server.door.cookie]
    assert cookie["secure"] and cookie["httpOnly"] and cookie["sameSite"] == "Strict"
    wait_ready(page)  # the live connection works over TLS too
    again = open_page(link, quiet=False, ignore_https_errors=True)
    again.wait_for_timeout(1000)
    assert again.context.cookies() == [], "a link works once"
