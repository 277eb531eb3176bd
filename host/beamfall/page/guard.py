"""Each request is checked here before anything else sees it.

A page of another web site runs in the same browser and can send requests here. It must not release drops or
read the log. So the Host must be a name of this server that no attacker controls (DNS rebinding), every
request that acts must come from this page's own Origin with the token, and nothing acts by GET. Fetch metadata
(W3C: Sec-Fetch-Site) refuses what other sites embed. Cookies know no ports, so for them another server on this
computer is the same site: the Origin check keeps its pages out.
"""

from __future__ import annotations

import asyncio
import contextlib
from typing import TYPE_CHECKING

from starlette.datastructures import Headers, MutableHeaders
from starlette.responses import JSONResponse, PlainTextResponse

from beamfall.page.door import Door
from beamfall.page.hub import Hub
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

HEADERS = {
    "content-security-policy": (
        "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self'; connect-src 'self'; "
        "manifest-src 'self'; media-src 'none'; object-src 'none'; base-uri 'none'; form-action 'none'; "
        "frame-ancestors 'none'; require-trusted-types-for 'script'; trusted-types 'none'"
    ),
    "x-content-type-options": "nosniff",
    "x-frame-options": "DENY",
    "referrer-policy": "no-referrer",
    "cross-origin-opener-policy": "same-origin",
    "cross-origin-resource-policy": "same-origin",
    "permissions-policy": "camera=(), microphone=(), geolocation=(), serial=(), usb=()",
}
Problem = tuple[int, str]  # HTTP status, and what is wrong


class Guard:
    """ASGI middleware: lets through what the door allows, adds the headers, counts the bytes."""

    def __init__(self, app: ASGIApp, door: Door) -> None:
        self._app = app
        self._door = door

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] not in ("http", "websocket"):
            await self._app(scope, receive, send)
            return
        headers = Headers(scope=scope)
        refusal = self._refuse(scope, headers)
        if scope["type"] == "websocket":
            if refusal is not None:
                await send({"type": "websocket.close", "code": 1008, "reason": refusal[:100]})
            else:
                await self._app(scope, receive, send)
            return
        problem: Problem | None = None
        if refusal is not None:
            problem = 403, refusal
        elif len(scope["raw_path"]) + len(scope["query_string"]) > ADDRESS_MOST:
            problem = 414, f"the address is longer than {ADDRESS_MOST} characters"
        elif scope["method"] == "POST":
            problem, receive = await _take_body(scope, headers, receive)
        if problem is None:
            await self._app(scope, receive, _dress(send))
        else:
            answer = PlainTextResponse(problem[1], problem[0], {"connection": "close"})
            await answer(scope, receive, _dress(send))

    def _refuse(self, scope: Scope, headers: Headers) -> str | None:
        """Why a request is turned away; None if it may pass."""
        door, path = self._door, scope["path"]
        if len(headers.getlist("host")) != 1:
            return "more than one Host header"
        host = headers["host"]
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


async def _take_body(
    scope: Scope, headers: Headers, receive: Receive
) -> tuple[Problem | None, Receive]:
    """Read the whole body, with or without a length; return what is wrong with it, and what gives it to the page."""
    kind, most = _BODIES.get(scope["path"], _JSON)
    length = headers.get("content-length", "0")
    if headers.get("content-type", "").split(";")[0].strip().lower() != kind:
        return (415, f"only {kind} is accepted"), receive
    if not length.isdecimal() or int(length) > most:
        return (413, f"more than {most} bytes"), receive
    body = bytearray()
    try:
        async with asyncio.timeout(BODY_S):
            message: Message = {"more_body": True}
            while message.get("more_body", False):
                message = await receive()
                body += message.get("body", b"")
                if message["type"] != "http.request" or len(body) > most:
                    return (413, f"more than {most} bytes"), receive
    except TimeoutError:
        return (408, f"the body did not come within {BODY_S:g} s"), receive
    return None, _replay(bytes(body), receive)


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
            headers = MutableHeaders(raw=message["headers"])
            headers.setdefault("cache-control", "no-store")
            headers.update(HEADERS)
        await send(message)

    return dressed


class Faults:
    """ASGI middleware, the outermost: what goes wrong further in becomes an answer and a report."""

    def __init__(self, app: ASGIApp, hub: Hub) -> None:
        self._app = app
        self._hub = hub

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        has_begun = False

        async def note_begin(message: Message) -> None:
            nonlocal has_begun
            has_begun = True
            await send(message)

        try:
            await self._app(scope, receive, note_begin)
        except Exception as error:
            if scope["type"] == "lifespan":
                raise
            text = self._hub.report_fault(error)
            self._hub.notice("error", text)
            if scope["type"] == "http" and not has_begun:
                await JSONResponse({"error": text}, 500)(scope, receive, send)
            elif scope["type"] == "websocket":
                with contextlib.suppress(RuntimeError):  # it is closed already
                    await send({"type": "websocket.close", "code": 1011})
