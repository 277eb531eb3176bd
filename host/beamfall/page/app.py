"""The page's paths, over HTTP and WebSocket. Every request has passed `guard` before.

Reading is by GET, acting by POST with JSON or over the WebSocket. The WebSocket, and not server-sent
events, because a browser opens at most six plain connections to a server: with some more tabs an abort
would wait behind them.
"""

from __future__ import annotations

import asyncio
import contextlib
import json
import mimetypes
from collections import deque
from collections.abc import AsyncIterator, Callable, Mapping
from pathlib import Path
from typing import Any

from anyio import CapacityLimiter
from anyio.to_thread import run_sync
from starlette.applications import Starlette
from starlette.middleware import Middleware
from starlette.requests import Request
from starlette.responses import JSONResponse, Response
from starlette.routing import Route, WebSocketRoute
from starlette.websockets import WebSocket, WebSocketDisconnect

from beamfall.errors import (
    BadRequest,
    BeamfallError,
    LogError,
    NoSuchShot,
    PictureError,
    UnitError,
    UserError,
)
from beamfall.handbook import FOLDER, PICTURES, TOPICS
from beamfall.page import review
from beamfall.page.board_thread import BoardThread
from beamfall.page.commands import list_commands, read_arguments
from beamfall.page.desk import Desk
from beamfall.page.devices import ACTING, HEADER, Devices, read_name
from beamfall.page.door import Door, draw_code
from beamfall.page.guard import Faults, Guard
from beamfall.page.handbook import make_page
from beamfall.page.hub import Hub, clean
from beamfall.page.pictures import PictureShelf, Predictor
from beamfall.page.recipes import list_recipe_routes
from beamfall.shots import ShotLog

STATIC = Path(__file__).with_name("static")
_KINDS = {  # some systems' lists lack these, and a browser refuses other kinds
    ".js": "text/javascript",
    ".svg": "image/svg+xml",
    ".css": "text/css",
    ".webmanifest": "application/manifest+json",
}
_PAGES_MOST = 50
_LEFT_S = 1.5  # without any page; then what is running is aborted, within 2 s in all
_NUMBER_MOST = 2**63 - 1  # SQLite counts in 64 bits
_USED_TWICE = (
    "A link was used twice: first {first}, now {now}. If the first was not you, somebody else may have opened this "
    "page: end `beamfall page` with Ctrl-C and start it again."
)


def make_app(hub: Hub, desk: Desk, bench: BoardThread, door: Door) -> Starlette:
    """Make the application; it lives as long as the board's thread."""
    shelf = PictureShelf()
    predictor = Predictor(desk)
    devices = Devices(hub)
    commands = list_commands(bench)
    leaving: deque[asyncio.Task[None]] = deque(maxlen=_PAGES_MOST)  # the loop itself keeps no task
    drawing = CapacityLimiter(1)  # a drawing must not take threads from other requests

    @contextlib.asynccontextmanager
    async def live(_: Starlette) -> AsyncIterator[None]:
        desk.start()
        bench.start()
        try:
            yield
        finally:
            await run_sync(bench.close)
            desk.close()

    def with_log(read: Callable[[ShotLog], Any]) -> Any:
        """Read from the log in this thread; raises NoSuchShot if no shot has been logged yet."""
        log = ShotLog.open_existing(bench.log_path)
        if log is None:
            raise NoSuchShot("no shot has been logged yet")
        with log:
            return read(log)

    async def answer(read: Callable[[ShotLog], Any], *, without_log: Any = None) -> Response:
        try:
            return JSONResponse(await run_sync(with_log, read))
        except NoSuchShot:
            if without_log is None:
                raise
            return JSONResponse(without_log)

    # -- the page itself ---------------------------------------------------------------------------------------
    async def show_page(_: Request) -> Response:
        return await _send_static("index.html")

    async def show_static(request: Request) -> Response:
        return await _send_static(request.path_params["name"])

    async def enter(request: Request) -> Response:
        code = (await _read_json(request)).get("code")
        who = "an unknown address" if request.client is None else request.client.host
        if not isinstance(code, str) or not door.codes.use(code, who):
            first = door.codes.find_first_use(code) if isinstance(code, str) else None
            if first is not None:
                hub.notice("caution", _USED_TWICE.format(first=first, now=f"from {who}"))
            return JSONResponse({"error": "This link has already been used."}, 403)
        response = Response(status_code=204)
        secure = door.scheme == "https"
        response.set_cookie(
            door.cookie, door.token, httponly=True, samesite="strict", path="/", secure=secure
        )
        return response

    async def make_link(_: Request) -> Response:
        link = door.make_link()
        return JSONResponse({"link": link, "code": draw_code(link)})

    async def show_handbook(request: Request) -> Response:
        topic = request.path_params.get("topic", TOPICS[0])
        if topic in PICTURES:
            headers = {"cache-control": "no-cache"}
            kind = mimetypes.guess_type(topic)[0]
            return Response((FOLDER / topic).read_bytes(), media_type=kind, headers=headers)
        try:
            text = await run_sync(make_page, topic)
        except UserError as error:
            return Response(str(error), 404)
        return Response(text, media_type="text/html", headers={"cache-control": "no-cache"})

    # -- acting ------------------------------------------------------------------------------------------------
    async def act(request: Request) -> Response:
        name = request.path_params["command"]
        command = commands.get(name)
        if command is None:
            return JSONResponse({"error": f"There is no command {name[:40]}."}, 404)
        who = read_name(request.headers.get(HEADER, ""))
        arguments = read_arguments(name, command, await _read_json(request))

        def carry_out() -> Any:
            ACTING.set(who)
            result = command(**arguments)
            devices.note(who, name)
            return result

        # Abort never waits for a thread that others may keep busy.
        result = carry_out() if name == "abort" else await run_sync(carry_out)
        return JSONResponse({"ok": True, **(result or {})})

    async def talk(socket: WebSocket) -> None:
        if hub.pages >= _PAGES_MOST:
            await socket.close(1013)
            return
        await socket.accept()
        subscriber = hub.subscribe()
        hearing = asyncio.create_task(_hear(socket, bench, devices))
        try:
            await socket.send_text(hub.snapshot())
            while not hearing.done():
                coming = asyncio.create_task(subscriber.queue.get())
                await asyncio.wait({coming, hearing}, return_when=asyncio.FIRST_COMPLETED)
                if not coming.done():
                    coming.cancel()
                    break
                text = coming.result()
                await socket.send_text(hub.snapshot() if text is None else text)
        except (WebSocketDisconnect, RuntimeError):
            pass
        finally:
            hub.unsubscribe(subscriber)
            if hub.pages == 0:
                leaving.append(asyncio.create_task(end_what_nobody_sees()))
            hearing.cancel()
            with contextlib.suppress(Exception, asyncio.CancelledError):
                await hearing

    async def end_what_nobody_sees() -> None:
        """End what is running after a grace period: a page that was only reloaded is back by then."""
        await asyncio.sleep(_LEFT_S)
        if hub.pages == 0:
            bench.abort_unseen()

    # -- reading -----------------------------------------------------------------------------------------------
    async def list_shots(_: Request) -> Response:
        return await answer(review.list_lines, without_log={"lines": {"shot": []}, "log": ""})

    async def show_shot(request: Request) -> Response:
        return await answer(lambda log: review.describe_shot(log, _number(request, "shot")))

    async def show_picture(request: Request) -> Response:
        small = "small" in request.query_params
        data = await run_sync(
            with_log, lambda log: shelf.load(log, _number(request, "shot"), small=small)
        )
        return Response(
            data, media_type="image/jpeg", headers={"cache-control": "private, no-cache"}
        )

    async def predict(_: Request) -> Response:
        try:
            data = await run_sync(predictor.draw, limiter=drawing)
        except BeamfallError:
            return Response(status_code=204)  # the plan says what is wrong
        return Response(data, media_type="image/jpeg")

    async def compare(request: Request) -> Response:
        return await answer(
            lambda log: review.compare(log, _number(request, "first"), _number(request, "second"))
        )

    async def list_series(_: Request) -> Response:
        return await answer(review.list_series, without_log=[])

    async def assess(request: Request) -> Response:
        return await answer(lambda log: review.assess(log, _number(request, "series")))

    async def show_learned(_: Request) -> Response:
        return JSONResponse(await run_sync(desk.describe_learned))

    async def write_rig(_: Request) -> Response:
        return _send_toml(desk.write_rig(), "rig")

    async def write_table(_: Request) -> Response:
        return _send_toml(desk.by_hand.write(), "sequence")

    return Starlette(
        routes=[
            Route("/", show_page),
            Route("/static/{name:path}", show_static),
            Route("/enter", enter, methods=["POST"]),
            Route("/link", make_link, methods=["POST"]),
            Route("/do/{command}", act, methods=["POST"]),
            WebSocketRoute("/live", talk),
            Route("/shots", list_shots),
            Route("/shots/{shot:int}", show_shot),
            Route("/shots/{shot:int}/picture", show_picture),
            Route("/predicted", predict),
            Route("/compare/{first:int}/{second:int}", compare),
            Route("/series", list_series),
            Route("/series/{series:int}", assess),
            Route("/learned", show_learned),
            Route("/rig.toml", write_rig),
            Route("/sequence.toml", write_table),
            *list_recipe_routes(bench, desk),
            Route("/handbook/", show_handbook),
            Route("/handbook/{topic}", show_handbook),
        ],
        middleware=[Middleware(Faults, hub=hub), Middleware(Guard, door=door)],
        exception_handlers={BeamfallError: _fail},
        lifespan=live,
    )


async def _hear(socket: WebSocket, bench: BoardThread, devices: Devices) -> None:
    """Handle a page's messages on its WebSocket: its device's name, and abort with the number of the press."""
    name = ""
    try:
        while True:
            word, _, rest = (await socket.receive_text()).partition(" ")
            if word == "abort":
                try:
                    bench.abort(rest)
                    devices.note(name, word)
                except BeamfallError as error:
                    bench.hub.notice("error", str(error))
            elif word == "name":
                devices.rename(name, name := read_name(rest))
    except (WebSocketDisconnect, RuntimeError, KeyError):
        pass
    finally:
        devices.rename(name, "")


async def _read_json(request: Request) -> Mapping[str, Any]:
    """The JSON object that a request carries; raises BadRequest for anything else, an empty body included.

    Nothing is guessed: a request that cannot be read completely must not be carried out with defaults.
    """
    raw = await request.body()
    try:
        body = json.loads(raw, object_pairs_hook=_take_pairs)
    except (ValueError, RecursionError) as error:
        raise BadRequest("The request is not valid JSON. Reload the page and try again.") from error
    if not isinstance(body, dict):
        raise BadRequest("The request must be one JSON object. Reload the page and try again.")
    return body


def _take_pairs(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    """Refuse a name given twice: the two values may say different things."""
    values = dict(pairs)
    if len(values) != len(pairs):
        raise ValueError("a name is given twice")
    return values


def _number(request: Request, name: str) -> int:
    """A number from an address; raises NoSuchShot for one that the log cannot even look up."""
    number: int = request.path_params[name]
    if number > _NUMBER_MOST:
        raise NoSuchShot(f"there is no {'series' if name == 'series' else 'shot'} {number}")
    return number


async def _fail(request: Request, error: Exception) -> Response:
    """What a request cannot have, in the words of the library."""
    said: dict[str, Any] = {"error": str(error)}
    # A field shows it beside itself, with what may have been meant.
    if isinstance(error, UnitError):
        said |= {"key": error.key, "likely": error.likely}
    status = 500
    # A damaged log or picture is no fault of the server.
    theirs = UserError | PictureError | LogError
    if isinstance(error, BadRequest):
        status = 400
    elif isinstance(error, theirs):
        status = 404 if request.method == "GET" else 422
    return JSONResponse(clean(said), status)


def _send_toml(text: str, name: str) -> Response:
    headers = {"content-disposition": f'attachment; filename="{name}.toml"'}
    return Response(text, media_type="application/toml", headers=headers)


async def _send_static(name: str) -> Response:
    """A file of the page; names outside the folder do not exist."""
    try:
        file = (STATIC / name).resolve()
        exists = file.is_relative_to(STATIC.resolve()) and file.is_file()
    except (OSError, ValueError):  # a name that no file can have
        exists = False
    if not exists:
        return Response("not found", 404)
    kind = _KINDS.get(file.suffix) or mimetypes.guess_type(file.name)[0]
    kind = kind or "application/octet-stream"
    return Response(file.read_bytes(), media_type=kind, headers={"cache-control": "no-cache"})
