"""Connections with a limit: clients that send nothing, or slowly, cannot lock anybody out.

A connection that has not shown the token is a stranger. There are at most `strangers_most` of them: if another comes,
the oldest stranger of the address with the most is closed. Every stranger is closed after STRANGER_S.
Connections that have shown the token are counted separately, so strangers never take their place.
"""

from __future__ import annotations

import asyncio
import ssl
import sys
from asyncio.sslproto import SSLProtocol
from collections import Counter
from collections.abc import Callable
from typing import Any

from uvicorn.protocols.http.h11_impl import H11Protocol

STRANGER_S = 30.0
_HANDSHAKE_S = 10
_STRANGERS_MOST = 64
_FRIENDS_MOST = 128  # a browser opens at most six for each page
_SHARE = 8  # at most one in this many of the file descriptors that this process may open


class Connections:
    """The open connections of a server; used by its event loop's thread alone."""

    def __init__(
        self,
        knows: Callable[[str], bool],
        *,
        strangers_most: int | None = None,
        context: ssl.SSLContext | None = None,
    ) -> None:
        """`knows` says whether a Cookie header has the token; `context` encrypts."""
        self._context = context
        share = _count_descriptors() // _SHARE
        self.strangers_most = (
            min(_STRANGERS_MOST, share) if strangers_most is None else strangers_most
        )
        self.friends_most = min(_FRIENDS_MOST, 2 * share)
        self._knows = knows
        self._strangers: dict[LimitedProtocol, None] = {}  # oldest first, as in the next one
        self._friends: dict[LimitedProtocol, None] = {}

    @property
    def strangers(self) -> int:
        """How many connections have not shown the token."""
        return len(self._strangers)

    def make_protocol(self, **options: Any) -> asyncio.BaseProtocol:
        """What uvicorn calls for each connection."""
        protocol = LimitedProtocol(self, **options)
        return protocol if self._context is None else EncryptedProtocol(protocol, self._context)

    def admit(self, protocol: LimitedProtocol) -> None:
        """Count a new connection; close another one if there are too many."""
        self._strangers[protocol] = None
        if len(self._strangers) > self.strangers_most:
            counted = Counter(one.address for one in self._strangers)
            most = max(counted.values())
            busiest = {address for address, count in counted.items() if count == most}
            next(one for one in self._strangers if one.address in busiest).drop()

    def look(self, protocol: LimitedProtocol, cookies: str) -> None:
        """Note a request; one with the token makes its connection a friend."""
        if protocol in self._strangers and self._knows(cookies):
            del self._strangers[protocol]
            self._friends[protocol] = None
            protocol.become_friend()
            if len(self._friends) > self.friends_most:
                next(iter(self._friends)).drop()

    def forget(self, protocol: LimitedProtocol) -> None:
        """Stop counting a connection that has ended, or that is a page's WebSocket, which `app` counts."""
        self._strangers.pop(protocol, None)
        self._friends.pop(protocol, None)


class LimitedProtocol(H11Protocol):
    """uvicorn's protocol, counted; a stranger has a limited time."""

    def __init__(self, connections: Connections, **options: Any) -> None:
        super().__init__(**options)
        self._counted = connections
        self._is_friend = False
        self._end: asyncio.TimerHandle | None = None
        self._line: Any = None
        self.address = ""
        app = self.app

        async def look_and_answer(scope: Any, receive: Any, send: Any) -> None:
            self._look()
            await app(scope, receive, send)

        self.app = look_and_answer

    def begin(self, transport: Any) -> None:
        """Count the connection from its first moment; with TLS that is before the handshake."""
        self._line = transport
        peer = transport.get_extra_info("peername")
        self.address = peer[0] if peer else ""
        self._end = self.loop.call_later(STRANGER_S, self.drop)
        self._counted.admit(self)

    def end(self) -> None:
        """Stop counting the connection: it is gone."""
        self.become_friend()
        self._counted.forget(self)

    def connection_made(self, transport: asyncio.Transport) -> None:  # type: ignore[override]
        super().connection_made(transport)
        if self._line is None:
            self.begin(transport)

    def connection_lost(self, exc: Exception | None) -> None:
        self.end()
        super().connection_lost(exc)

    def handle_websocket_upgrade(self, event: Any) -> None:
        self._look()
        if self._is_friend:
            self._counted.forget(self)
        super().handle_websocket_upgrade(event)

    def become_friend(self) -> None:
        """No time limit any more."""
        self._is_friend = True
        if self._end is not None:
            self._end.cancel()

    def drop(self) -> None:
        """Close it at once, whatever is still to be sent."""
        self._counted.forget(self)
        self.become_friend()
        if self._line is not None:
            self._line.abort()

    def _look(self) -> None:
        cookies = b"; ".join(value for name, value in self.headers if name == b"cookie")
        self._counted.look(self, cookies.decode("latin-1"))


class EncryptedProtocol(SSLProtocol):
    """TLS around a counted protocol. A connection counts from its first byte, not only after the handshake."""

    def __init__(self, inner: LimitedProtocol, context: ssl.SSLContext) -> None:
        nobody: Any = None  # waits for the handshake: on a server nobody does
        super().__init__(
            inner.loop, inner, context, nobody, server_side=True, ssl_handshake_timeout=_HANDSHAKE_S
        )
        self._counted = inner

    def connection_made(self, transport: asyncio.BaseTransport) -> None:
        """The client has connected and said nothing yet."""
        self._counted.begin(transport)
        super().connection_made(transport)

    def connection_lost(self, exc: BaseException | None) -> None:
        """It has gone, perhaps without a handshake."""
        self._counted.end()
        super().connection_lost(exc)


def _count_descriptors() -> int:
    """How many files and connections this process may have open."""
    if sys.platform == "win32":
        return 8192
    import resource

    soft, _ = resource.getrlimit(resource.RLIMIT_NOFILE)
    return 8192 if soft == resource.RLIM_INFINITY else soft
