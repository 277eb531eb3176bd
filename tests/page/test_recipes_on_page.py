"""Recipes on the page: a shot is kept by name, found with its picture, renamed, shared and fired again."""

from __future__ import annotations

import json
from collections.abc import Callable
from typing import Any
from urllib.parse import quote

import pytest
from page_helpers import QUICK_RIG, Asker, Served

from beamfall.recipes.package import unpack_recipe
from beamfall.shots import ShotLog

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


@pytest.mark.full
def test_a_shot_is_kept_found_shared_and_fired_again(
    serve: Callable[..., Served], log_path: Any
) -> None:
    hand = Hand(serve(rig=QUICK_RIG, pace=1000.0))
    hand.served.wait(lambda: (hand.see("link") or {}).get("state") == "up" and hand.see("plan"))
    hand.do("arm")
    hand.served.wait(lambda: hand.see("armed"))
    hand.do("release")
    hand.served.wait(lambda: hand.see("shot"))
    hand.do("keep_recipe", shot=1, name=NAME)
    hand.do("keep_recipe", shot=1, name=NAME.upper(), status=422)
    (card,) = json.loads(hand.get("/recipes")[2])["recipes"]
    assert (card["name"], card["shot"]) == (NAME, 1)
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
