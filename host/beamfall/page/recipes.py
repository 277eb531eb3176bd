"""The recipes, as the page lists them, and files of recipes from others; no path comes from a page."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING, Any

from anyio import CapacityLimiter
from anyio.to_thread import run_sync
from starlette.responses import JSONResponse, Response
from starlette.routing import Route

from beamfall.errors import BeamfallError, RecipeError
from beamfall.page.hub import clean
from beamfall.recipes.events import carry_over
from beamfall.recipes.package import SUFFIX, pack_recipe, unpack_recipe
from beamfall.recipes.recipe import Recipe
from beamfall.recipes.sheet import make_sheet
from beamfall.recipes.shelf import Shelf
from beamfall.recipes.words import (
    FROM_OTHERS,
    is_from_others,
    list_carried,
    list_measured,
    say_picture,
)
from beamfall.text import make_file_name
from beamfall.workflows.slots import print_card

if TYPE_CHECKING:
    from starlette.requests import Request

    from beamfall.page.board_thread import BoardThread
    from beamfall.page.desk import Desk

_SENT = "This file"  # its name stays with the browser


def list_recipe_routes(bench: BoardThread, desk: Desk) -> list[Route]:
    """The paths of recipes: the list; each one's picture, file for others and page for the wall; files from others."""
    reading = CapacityLimiter(1)  # a picture that is decoded whole takes much memory

    def shelf() -> Shelf:
        return Shelf.open(bench.log_path)

    async def list_recipes(_: Request) -> Response:
        return JSONResponse(await run_sync(lambda: describe_shelf(shelf())))

    async def answer(request: Request, make: Callable[[Recipe], Response]) -> Response:
        name = request.query_params.get("name", "")
        return await run_sync(lambda: make(shelf().load(name)))

    async def show_picture(request: Request) -> Response:
        return await answer(request, _send_picture)

    async def share(request: Request) -> Response:
        return await answer(
            request,
            lambda one: _send_file(one, pack_recipe(one, shared=True), SUFFIX, "application/zip"),
        )

    async def show_sheet(request: Request) -> Response:
        return await answer(
            request, lambda one: _send_file(one, make_sheet(one).encode(), ".html", "text/html")
        )

    async def show_card(_: Request) -> Response:
        board = str((bench.hub.get("board") or {}).get("name", ""))
        page = await run_sync(lambda: print_card(board, shelf(), bench.held))
        headers = {"content-disposition": 'attachment; filename="card.html"'}
        return Response(page, media_type="text/html", headers=headers)

    async def take(request: Request, use: Callable[[Recipe], dict[str, Any]]) -> Response:
        data = await request.body()
        said = await run_sync(lambda: use(unpack_recipe(data, _SENT)), limiter=reading)
        return JSONResponse(clean(said))

    async def look(request: Request) -> Response:
        return await take(request, lambda recipe: describe_here(recipe, desk))

    async def add(request: Request) -> Response:
        name = request.query_params.get("name", "")

        def save(recipe: Recipe) -> dict[str, Any]:
            kept = recipe.renamed(name)
            shelf().save(kept)
            bench.hub.tell("recipes")
            return {"name": kept.name}

        return await take(request, save)

    return [
        Route("/recipes/look", look, methods=["POST"]),
        Route("/recipes/add", add, methods=["POST"]),
        Route("/slots/card", show_card),
        Route("/recipes", list_recipes),
        Route("/recipes/picture", show_picture),
        Route("/recipes/file", share),
        Route("/recipes/sheet", show_sheet),
    ]


def describe_shelf(shelf: Shelf) -> dict[str, Any]:
    """Every recipe as a card; those that cannot be read as a sentence each."""
    shelved = list(shelf.list())
    content: dict[str, Any] = clean(
        {
            "recipes": [_describe(one.recipe) for one in shelved if one.recipe is not None],
            "problems": [one.problem for one in shelved if one.problem],
        }
    )
    return content


def describe_here(recipe: Recipe, desk: Desk) -> dict[str, Any]:
    """A recipe from elsewhere: its card, and what it becomes on this rig, or why that cannot be calculated."""
    try:
        carried = carry_over(recipe, desk.rig, learned=desk.learned)
    except BeamfallError as error:
        return {**_describe(recipe), "here": [], "lost": [], "warnings": [str(error)]}
    here = list_carried(recipe, carried)
    return {
        **_describe(recipe), "here": here, "lost": carried.lost,
        "warnings": [caution.text for caution in carried.plan.warnings],
    }  # fmt: skip


def _describe(recipe: Recipe) -> dict[str, Any]:
    spacing, delay = recipe.spacing_s, recipe.flash_delay_s
    return {
        "name": recipe.name,
        "note": recipe.label.note,
        "rating": recipe.label.rating,
        "made": recipe.label.made,
        "shot": recipe.home.shot,
        "caution": FROM_OTHERS if is_from_others(recipe) else "",
        "shows": say_picture(recipe.events),
        "has_picture": recipe.picture is not None,
        "liquid": recipe.liquid,
        "measured": [f"{name} {value}" for name, value in list_measured(recipe)],
        "rig": recipe.rig.name,
        "spacing_ms": None if spacing is None else spacing * 1e3,
        "delay_ms": None if delay is None else delay * 1e3,
    }


def _send_picture(recipe: Recipe) -> Response:
    if recipe.picture is None:
        raise RecipeError(f"recipe '{recipe.name}' has no picture")
    headers = {"cache-control": "private, no-cache"}
    return Response(recipe.picture, media_type="image/jpeg", headers=headers)


def _send_file(recipe: Recipe, data: bytes, suffix: str, kind: str) -> Response:
    plain = make_file_name(recipe.name).encode("ascii", "replace").decode().replace("?", "-")
    headers = {"content-disposition": f'attachment; filename="{plain}{suffix}"'}
    return Response(data, media_type=kind, headers=headers)
