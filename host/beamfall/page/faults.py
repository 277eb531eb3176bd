"""If a request meets a bug in Beamfall: tells the user, writes a report, and keeps the page running."""

from __future__ import annotations

import contextlib
from typing import TYPE_CHECKING

from starlette.responses import JSONResponse

if TYPE_CHECKING:
    from starlette.types import ASGIApp, Message, Receive, Scope, Send

    from beamfall.page.hub import Hub


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
