"""The page keeps its address: nothing else can listen there, and a page that ended can come back to it."""

from __future__ import annotations

import socket
import sys
from typing import Any

import pytest

from beamfall.errors import UserError
from beamfall.page import serve
from beamfall.page.serve import Listen, open_socket


def test_no_other_program_gets_the_pages_address() -> None:
    with open_socket(Listen("127.0.0.1", 0)) as page:
        page.listen()
        port = page.getsockname()[1]
        with pytest.raises(UserError, match="--listen"):
            open_socket(Listen("127.0.0.1", port))
        with socket.socket() as thief:
            # What a program on Windows asks for to take over an address that is in use.
            thief.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
            with pytest.raises(OSError, match=r".+"):
                thief.bind(("127.0.0.1", port))


@pytest.mark.skipif(sys.platform == "win32", reason="TIME_WAIT of POSIX systems; Windows differs")
def test_a_page_that_has_ended_comes_back_to_its_address_at_once() -> None:
    """The side that closes first keeps the address for a while (TIME_WAIT, RFC 9293, section 3.3.2)."""
    with open_socket(Listen("127.0.0.1", 0)) as page:
        page.listen()
        port = page.getsockname()[1]
        with socket.create_connection(("127.0.0.1", port)):
            served, _ = page.accept()
            served.close()
    with open_socket(Listen("127.0.0.1", port)) as again:
        again.listen()


class _Options:
    """Records what is set, because Windows' own socket is not available elsewhere."""

    def __init__(self) -> None:
        self.set: list[tuple[int, int, int]] = []

    def setsockopt(self, level: int, option: int, value: int) -> None:
        self.set.append((level, option, value))


@pytest.mark.parametrize("platform", ["win32", "linux", "darwin"])
def test_each_system_is_asked_in_its_own_way(
    platform: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    # winsock2.h: SO_EXCLUSIVEADDRUSE is ((int)(~SO_REUSEADDR)), and SO_REUSEADDR 0x0004
    monkeypatch.setattr(socket, "SO_EXCLUSIVEADDRUSE", ~4, raising=False)
    monkeypatch.setattr(sys, "platform", platform)
    options: Any = _Options()
    serve._keep_to_itself(options)
    wanted = ~4 if platform == "win32" else socket.SO_REUSEADDR
    assert options.set == [(socket.SOL_SOCKET, wanted, 1)]
