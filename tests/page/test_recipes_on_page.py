"""Recipes on the page: a shot is kept by name, found with its picture, renamed, shared and fired again."""

from __future__ import annotations

import json
from typing import Any
from urllib.parse import quote

import pytest
from kept_recipes import rewrite
from page_helpers import QUICK_RIG, TELEPHONE, Asker, Open, Serve, Served, expect

from beamfall.page import board_thread
from beamfall.planning.collision import plan_collision
from beamfall.recipes.package import FILE_MOST, pack_recipe, unpack_recipe
from beamfall.recipes.recipe import Events, Label, Recipe
from beamfall.setup.rig import example_rig
from beamfall.shots import ShotLog
from beamfall.workflows.slots import Fetched

NAME = "<b>Blue</b> ../umbrella"


class Hand:
    """Somebody at the page."""

    def __init__(self, served: Served) -> None:
        self.asker = Asker(served)
        self.hub = served.server.hub
        self.served = served

    def do(self, command: str, status: int = 200, **values: Any) -> Any:
        got, _, body = self.asker.ask("POST", f"/do/{command}", json.dumps(values).encode())
        assert got == status, body
        return json.loads(body)

    def get(self, path: str, name: str = "") -> tuple[int, dict[str, str], bytes]:
        return self.asker.ask("GET", path + (f"?name={quote(name, safe='')}" if name else ""))

    def see(self, name: str) -> Any:
        return json.loads(self.hub.snapshot())["all"].get(name)

    def wait_job(self, kind: str) -> Any:
        """Until the newest job of a kind has ended; questions are answered with their first choice."""

        def look() -> Any:
            job = self.see("job") or {}
            if job.get("kind") != kind:
                return None
            if job["question"]:
                self.do(
                    "answer",
                    question=job["question"]["id"],
                    value=job["question"]["choices"][0]["value"],
                )
            return job if job["state"] != "running" else None

        return self.served.wait(look)


def keep_a_shot(serve: Serve) -> Hand:
    """Fire a shot on a page and keep it as the recipe NAME."""
    hand = Hand(serve(rig=QUICK_RIG, pace=1000.0))
    hand.served.wait(lambda: (hand.see("link") or {}).get("state") == "up" and hand.see("plan"))
    hand.do("arm")
    hand.served.wait(lambda: hand.see("armed"))
    hand.do("release")
    hand.served.wait(lambda: hand.see("shot"))
    hand.do("keep_recipe", shot=1, name=NAME)
    return hand


@pytest.mark.full
def test_a_shot_is_kept_found_shared_and_fired_again(serve: Serve, log_path: Any) -> None:
    hand = keep_a_shot(serve)
    hand.do("keep_recipe", shot=1, name=NAME.upper(), status=422)
    (card,) = json.loads(hand.get("/recipes")[2])["recipes"]
    assert (card["name"], card["shot"], card["caution"]) == (NAME, 1, "")
    status, headers, data = hand.get("/recipes/file", NAME)
    assert status == 200 and unpack_recipe(data, "x").home.shot is None
    assert (
        "/" not in headers["content-disposition"] and "attachment" in headers["content-disposition"]
    )
    assert hand.get("/recipes/sheet", NAME)[0] == 200
    assert hand.get("/recipes/file", "../../shots")[0] == 404
    hand.do("rename_recipe", name=NAME, new="second")
    hand.do("shoot_recipe", name="second")
    assert hand.wait_job("recipe")["state"] == "ended"
    with ShotLog.open(log_path) as log:
        assert log.read_series(log.list_shots(limit=1)[0].series).kind == "recipe"
    hand.do("remove_recipe", name="second")
    assert json.loads(hand.get("/recipes")[2])["recipes"] == []


@pytest.mark.full
def test_a_recipe_goes_into_a_slot_of_the_board_and_onto_its_card(
    serve: Serve, log_path: Any
) -> None:
    hand = keep_a_shot(serve)

    def change(command: str, **values: Any) -> list[dict[str, Any]]:
        before = (hand.see("job") or {}).get("id")
        hand.do(command, **values)
        hand.served.wait(lambda: hand.see("job")["id"] != before)
        job = hand.wait_job("slots")
        assert job["state"] == "ended", job["text"]
        slots: list[dict[str, Any]] = hand.see("slots")["slots"]
        return slots

    assert {one["name"] for one in change("board_slots")} == {None}
    hand.do("arm")
    hand.served.wait(lambda: hand.see("armed"))
    second = change("store_recipe", name=NAME, slot=2)[1]
    # A press would fire what is stored now, and not what was armed.
    assert (second["name"], second["ready"]) == (NAME, True) and hand.see("armed") is None
    second = change("board_slots", do="choose", slot=2)[1]
    assert second["first"]
    status, headers, card = hand.get("/slots/card")
    assert status == 200 and "attachment" in headers["content-disposition"]
    assert (
        b"slot 2 is ready at once" in card and b"&lt;b&gt;Blue" in card and b"<b>Blue" not in card
    )
    assert {one["name"] for one in change("board_slots", do="erase", slot=2)} == {None}
    hand.do("board_slots", status=422, do="burn", slot=1)
    hand.do("store_recipe", name=NAME, slot=99)
    hand.served.wait(lambda: hand.see("job")["state"] == "failed")


@pytest.mark.full
def test_shots_of_an_evening_without_a_laptop_are_told_when_the_page_connects(
    serve: Serve, monkeypatch: pytest.MonkeyPatch
) -> None:
    """What the board held is in the log already; the page says how many came and how many it had to forget."""
    monkeypatch.setattr(board_thread, "fetch_shots", lambda *_: Fetched((3, 4), 7))
    hand = Hand(serve(rig=QUICK_RIG, pace=1000.0))
    hand.served.wait(lambda: hand.see("notices"))
    (notice,) = hand.see("notices")
    assert "2 shots" in notice["text"] and "7 older" in notice["text"]


# -- from others -----------------------------------------------------------------------------------------------
SHARED = "Shared umbrella"
ZIP = {"Content_Type": "application/zip"}


def make_shared() -> bytes:
    """The file of a recipe for the example rig."""
    rig = example_rig()
    events = Events(
        kind="collision", drops=2, moment=0.7, moment_low=0.5, moment_high=0.9, stage_s=0.004,
        stage_low_s=0.003, stage_high_s=0.005,
    )  # fmt: skip
    recipe = Recipe(Label(name=SHARED), rig, plan_collision(rig).sequence, events)
    return pack_recipe(recipe, shared=True)


def test_a_shared_file_says_what_it_becomes_here_and_is_kept_under_a_name(serve: Serve) -> None:
    hand, shared = Hand(serve(rig=QUICK_RIG)), make_shared()
    status, _, body = hand.asker.ask("POST", "/recipes/look", shared, **ZIP)
    said = json.loads(body)
    assert status == 200 and said["name"] == SHARED
    spacing, flash = (dict(said["here"])[name] for name in ("spacing", "flash"))
    assert "; original " in spacing and "; original " in flash and said["lost"]
    assert json.loads(hand.get("/recipes")[2])["recipes"] == [], "looking at a file keeps it"
    add = "/recipes/add?name=" + quote(NAME, safe="")
    assert hand.asker.ask("POST", add, shared, **ZIP)[0] == 200
    status, _, body = hand.asker.ask("POST", add, shared, **ZIP)
    assert status == 422 and NAME in json.loads(body)["error"], "the name is taken"
    (card,) = json.loads(hand.get("/recipes")[2])["recipes"]
    assert (card["name"], card["shot"]) == (NAME, None)
    assert card["caution"], "its milliseconds are those of another rig"
    data = hand.get("/recipes/file", NAME)[2]
    assert unpack_recipe(data, "x").events == unpack_recipe(shared, "x").events


def test_a_file_that_cannot_be_trusted_is_refused_and_nothing_is_written(
    serve: Serve, log_path: Any
) -> None:
    hand, shared = Hand(serve(rig=QUICK_RIG)), make_shared()
    newer = b"beamfall_recipe = 2\n[recipe]\nname = 'x'\n"
    hostile = [
        b"", b"PK", shared[:-40], rewrite(shared, {"../../evil.toml": b"x = 1"}),
        rewrite(shared, {"recipe.toml": newer}), rewrite(shared, {"picture.jpg": b"<script>"}),
    ]  # fmt: skip
    for path in ("/recipes/look", "/recipes/add?name=x"):
        for data in hostile:
            status, _, body = hand.asker.ask("POST", path, data, **ZIP)
            error = json.loads(body)["error"]
            assert status == 422 and error.startswith("This file: ") and len(error) < 500
        assert hand.asker.ask("POST", path, b"0" * (FILE_MOST + 1), **ZIP)[0] in (0, 413)
        assert hand.asker.ask("POST", path, shared)[0] == 415
        assert hand.asker.ask("POST", path, shared, Origin="http://evil.test", **ZIP)[0] == 403
        assert hand.asker.ask("POST", path, shared, Cookie=None, **ZIP)[0] == 403
    assert hand.asker.ask("POST", "/recipes/add?name=", shared, **ZIP)[0] == 422
    assert not log_path.with_suffix(".recipes").exists()


@pytest.mark.full
def test_a_file_is_opened_and_kept_with_a_finger(serve: Serve, open_page: Open) -> None:
    served = serve(rig=QUICK_RIG)
    page = open_page(served.link, size=TELEPHONE, quiet=False, has_touch=True)
    page.goto(f"{served.origin}/#recipes")
    sent = {"name": "umbrella.recipe.zip", "mimeType": "application/zip", "buffer": make_shared()}
    with page.expect_file_chooser() as chooser:
        page.get_by_role("button", name="Open a shared recipe").tap()
    chooser.value.set_files(sent)
    panel = page.get_by_label("Recipe from a file")
    expect(panel).to_contain_text("Not carried over")
    page.get_by_label("Name", exact=True).fill("mine")
    panel.get_by_role("button", name="Keep it").tap()
    expect(panel).to_be_hidden()
    expect(page.locator("article.recipe h2")).to_have_text("mine")
    chooser.value.set_files({**sent, "buffer": b"damaged"})
    expect(page.get_by_text("cannot be opened as a zip file")).to_be_visible()
    expect(panel).to_be_hidden()
