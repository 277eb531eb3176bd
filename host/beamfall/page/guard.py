"""Who may ask: checked before anything else looks at a request.

A page of another web site runs in the same browser and can send requests here; what it must not do is
release drops or read the log. So: the Host must be this server by a name that no attacker controls
(DNS rebinding), the Origin of everything that acts must be this page's own, the token must be there, and
nothing acts by GET. Fetch metadata (W3C: Sec-Fetch-Site) turns away what other sites embed. Cookies know
no ports, so another server on this computer counts as the same site for them: the Origin check is what
keeps its pages out.
"""

from __future__ import annotations

import asyncio
import hmac
import ipaddress
import socket
from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from starlette.types import ASGIApp, Message, Receive, Scope, Send

BODY_MOST = 64 * 1024
BODY_S = 10.0
ADDRESS_MOST = 2048
OPEN_PATHS = (
    "/",
    "/enter",
)  # what a browser without the token may have: the empty page and the way in
STATIC = "/static/"

HEADERS = (
    (
        b"content-security-policy",
        b"default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self'; connect-src 'self'; "
        b"media-src 'none'; object-src 'none'; base-uri 'none'; form-action 'none'; "
        b"frame-ancestors 'none'; require-trusted-types-for 'script'; trusted-types 'none'",
    ),
    (b"x-content-type-options", b"nosniff"),
    (b"x-frame-options", b"DENY"),
    (b"referrer-policy", b"no-referrer"),
    (b"cross-origin-opener-policy", b"same-origin"),
    (b"cross-origin-resource-policy", b"same-origin"),
    (b"permissions-policy", b"camera=(), microphone=(), geolocation=(), serial=(), usb=()"),
)


@dataclass(frozen=True)
class Door:
    """What is let in. `host`: the address listened on."""

    token: str
    host: str
    port: int
    names: frozenset[str] = field(default_factory=frozenset)

    @property
    def cookie(self) -> str:
        """The token's cookie; its name has the port, since cookies have none."""
        return f"beamfall_{self.port}"

    def allows_host(self, value: str) -> bool:
        """Whether a Host header names this server.

        On the loopback address: its literals and `localhost`. Elsewhere also this computer's own name and
        address literals, which no name server can turn.
        """
        name, port = split_host(value)
        if port != self.port:
            return False
        if name == "localhost":
            return True
        try:
            address = ipaddress.ip_address(name)
        except ValueError:
            return not self.is_loopback and name in self.names
        return address.is_loopback if self.is_loopback else True

    @property
    def is_loopback(self) -> bool:
        """Whether only this computer can reach it."""
        return self.host == "localhost" or ipaddress.ip_address(self.host).is_loopback

    def knows(self, token: str) -> bool:
        """Whether that is the token; takes as long whatever is wrong with it."""
        # What comes as JSON can hold half a character, which is in no token and has no UTF-8.
        return hmac.compare_digest(token.encode(errors="replace"), self.token.encode())


def own_names() -> frozenset[str]:
    """The names of this computer, lower case."""
    name = socket.gethostname().lower()
    return frozenset({name, f"{name.split('.')[0]}.local"})


def split_host(value: str) -> tuple[str, int]:
    """Take a Host header apart; port 80 where there is none, -1 where it is no number."""
    name, mark, port = value.strip().lower().rpartition(":")
    if not mark or name.count(":") and not name.endswith("]"):
        name, port = value.strip().lower(), "80"
    number = int(port) if port.isascii() and port.isdigit() else -1
    return name.removeprefix("[").removesuffix("]"), number


class Guard:
    """ASGI middleware: lets through what the door allows, adds the headers, counts the bytes."""

    def __init__(self, app: ASGIApp, door: Door) -> None:
        self._app = app
        self._door = door

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] not in ("http", "websocket"):
            await self._app(scope, receive, send)
            return
        headers = {
            name.decode("latin-1"): value.decode("latin-1") for name, value in scope["headers"]
        }
        hosts = [value for name, value in scope["headers"] if name == b"host"]
        refusal = "more than one Host" if len(hosts) != 1 else self._refuse(scope, headers)
        if scope["type"] == "websocket":
            if refusal is not None:
                await send({"type": "websocket.close", "code": 1008, "reason": refusal[:100]})
            else:
                await self._app(scope, receive, send)
            return
        if refusal is not None:
            await _answer(send, 403, refusal)
            return
        if len(scope["raw_path"]) + len(scope["query_string"]) > ADDRESS_MOST:
            await _answer(send, 414, f"an address of more than {ADDRESS_MOST} characters")
            return
        if scope["method"] == "POST":
            problem = _judge_body(headers)
            if problem is not None:
                await _answer(send, *problem)
                return
            try:
                body = await asyncio.wait_for(_take_body(receive), BODY_S)
            except TimeoutError:
                await _answer(send, 408, f"the body did not come within {BODY_S:g} s")
                return
            if body is None:
                await _answer(send, 413, f"more than {BODY_MOST} bytes")
                return
            receive = _replay(body, receive)
        await self._app(scope, receive, _dress(send))

    def _refuse(self, scope: Scope, headers: dict[str, str]) -> str | None:
        """Why a request is turned away; None where it may pass."""
        door, path = self._door, scope["path"]
        host = headers.get("host", "")
        if not door.allows_host(host):
            return "this server does not go by that name"
        acts = scope["type"] == "websocket" or scope["method"] not in ("GET", "HEAD")
        origin = headers.get("origin")
        if origin is not None and origin.lower() != f"http://{host.lower()}":
            return "another origin"
        if acts and origin is None:
            return "what acts must say its origin"
        site = headers.get("sec-fetch-site", "same-origin")
        arrives = (
            path == "/"
            and headers.get("sec-fetch-mode") == "navigate"
            and headers.get("sec-fetch-dest") == "document"
        )
        if site not in ("same-origin", "none") and not arrives:
            return "asked for by another site"
        if path in OPEN_PATHS or path.startswith(STATIC):
            return None
        if not any(
            door.knows(token) for token in read_cookies(headers.get("cookie", ""), door.cookie)
        ):
            return "no token: open the address that `beamfall page` printed"
        return None


def read_cookies(header: str, name: str) -> list[str]:
    """The values of a cookie, as a browser sends them (RFC 6265, section 4.2.1).

    The same header holds what other servers on this computer have set, on whatever port, whatever they
    write into it; and the same name twice where one of them has set it for a longer path.
    """
    pairs = (part.partition("=") for part in header.split(";"))
    return [value.strip() for key, _, value in pairs if key.strip() == name]


def _judge_body(headers: dict[str, str]) -> tuple[int, str] | None:
    if headers.get("content-type", "").split(";")[0].strip().lower() != "application/json":
        return 415, "JSON, and nothing else"
    length = headers.get("content-length", "0")
    if not length.isdigit() or int(length) > BODY_MOST:
        return 413, f"more than {BODY_MOST} bytes"
    return None


async def _take_body(receive: Receive) -> bytes | None:
    """The whole body, whether or not it names its length; None when it is too long or the asker has gone."""
    body = b""
    while True:
        message = await receive()
        if message["type"] != "http.request":
            return None
        more: bytes = message.get("body", b"")
        body += more
        if len(body) > BODY_MOST:
            return None
        if not message.get("more_body", False):
            return body


def _replay(body: bytes, receive: Receive) -> Receive:
    told = False

    async def replayed() -> Message:
        nonlocal told
        if told:
            return await receive()
        told = True
        return {"type": "http.request", "body": body, "more_body": False}

    return replayed


def _dress(send: Send) -> Send:
    async def dressed(message: Message) -> None:
        if message["type"] == "http.response.start":
            own = {name for name, _ in HEADERS}
            kept: Iterable[tuple[bytes, bytes]] = message.get("headers", [])
            message["headers"] = [pair for pair in kept if pair[0].lower() not in own] + list(
                HEADERS
            )
        await send(message)

    return dressed


async def _answer(send: Send, status: int, text: str) -> None:
    body = text.encode()
    headers = [
        (b"content-type", b"text/plain; charset=utf-8"),
        (b"content-length", str(len(body)).encode()),
        (b"cache-control", b"no-store"),
        (b"connection", b"close"),
        *HEADERS,
    ]
    await send({"type": "http.response.start", "status": status, "headers": headers})
    await send({"type": "http.response.body", "body": body})
