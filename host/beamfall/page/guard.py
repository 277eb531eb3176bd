"""Each request is checked here before anything else sees it.

A page of another web site runs in the same browser and can send requests here. It must not release drops or
read the log. So the Host must be a name of this server that no attacker controls (DNS rebinding), every
request that acts must come from this page's own Origin with the token, and nothing acts by GET. Fetch metadata
(W3C: Sec-Fetch-Site) refuses what other sites embed. Cookies know no ports, so for them another server on this
computer is the same site: the Origin check keeps its pages out.
"""

from __future__ import annotations

import asyncio
from collections.abc import Iterable
from typing import TYPE_CHECKING

from beamfall.page.door import Door
from beamfall.recipes.package import FILE_MOST

if TYPE_CHECKING:
    from starlette.types import ASGIApp, Message, Receive, Scope, Send

BODY_MOST = 64 * 1024
_JSON = ("application/json", BODY_MOST)
_BODIES = dict.fromkeys(("/recipes/look", "/recipes/add"), ("application/zip", FILE_MOST))
BODY_S = 10.0
ADDRESS_MOST = 2048
OPEN_PATHS = ("/", "/enter")  # for a browser without the token: the empty page and the way in
STATIC = "/static/"

HEADERS = (
    (
        b"content-security-policy",
        b"default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self'; connect-src 'self'; "
        b"manifest-src 'self'; media-src 'none'; object-src 'none'; base-uri 'none'; form-action 'none'; "
        b"frame-ancestors 'none'; require-trusted-types-for 'script'; trusted-types 'none'",
    ),
    (b"x-content-type-options", b"nosniff"),
    (b"x-frame-options", b"DENY"),
    (b"referrer-policy", b"no-referrer"),
    (b"cross-origin-opener-policy", b"same-origin"),
    (b"cross-origin-resource-policy", b"same-origin"),
    (b"permissions-policy", b"camera=(), microphone=(), geolocation=(), serial=(), usb=()"),
)


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
        refusal = "more than one Host header" if len(hosts) != 1 else self._refuse(scope, headers)
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
            await _answer(send, 414, f"the address is longer than {ADDRESS_MOST} characters")
            return
        if scope["method"] == "POST":
            kind, most = _BODIES.get(scope["path"], _JSON)
            problem = _judge_body(headers, kind, most)
            if problem is not None:
                await _answer(send, *problem)
                return
            try:
                body = await asyncio.wait_for(_take_body(receive, most), BODY_S)
            except TimeoutError:
                await _answer(send, 408, f"the body did not come within {BODY_S:g} s")
                return
            if body is None:
                await _answer(send, 413, f"more than {most} bytes")
                return
            receive = _replay(body, receive)
        await self._app(scope, receive, _dress(send))

    def _refuse(self, scope: Scope, headers: dict[str, str]) -> str | None:
        """Why a request is turned away; None if it may pass."""
        door, path = self._door, scope["path"]
        host = headers.get("host", "")
        if not door.allows_host(host):
            return "this server does not have that name"
        acts = scope["type"] == "websocket" or scope["method"] not in ("GET", "HEAD")
        origin = headers.get("origin")
        if origin is not None and origin.lower() != f"{door.scheme}://{host.lower()}":
            return "this request comes from another site"
        if acts and origin is None:
            return "missing Origin header"
        site = headers.get("sec-fetch-site", "same-origin")
        arrives = (
            path == "/"
            and headers.get("sec-fetch-mode") == "navigate"
            and headers.get("sec-fetch-dest") == "document"
        )
        if site not in ("same-origin", "none") and not arrives:
            return "another site made this request"
        if path in OPEN_PATHS or path.startswith(STATIC):
            return None
        if not door.knows(headers.get("cookie", "")):
            return "no token: open the link that `beamfall page` printed"
        return None


def _judge_body(headers: dict[str, str], kind: str, most: int) -> tuple[int, str] | None:
    if headers.get("content-type", "").split(";")[0].strip().lower() != kind:
        return 415, f"only {kind} is accepted"
    length = headers.get("content-length", "0")
    if not length.isdecimal() or int(length) > most:
        return 413, f"more than {most} bytes"
    return None


async def _take_body(receive: Receive, most: int) -> bytes | None:
    """The whole body, with or without a length; None when it is too long or the client has gone."""
    body = bytearray()
    while True:
        message = await receive()
        if message["type"] != "http.request":
            return None
        more: bytes = message.get("body", b"")
        body += more
        if len(body) > most:
            return None
        if not message.get("more_body", False):
            return bytes(body)


def _replay(body: bytes, receive: Receive) -> Receive:
    sent = False

    async def replayed() -> Message:
        nonlocal sent
        if sent:
            return await receive()
        sent = True
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
