"""The search over the page: black pictures end it with advice, and teach it nothing."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

from page_helpers import QUICK_RIG, Served, expect, find_question, wait_question, wait_ready

from beamfall.page.jobs import make_seek
from beamfall.page.listening import make_opener
from beamfall.planning.learned import find_file

Serve = Callable[..., Served]


def run_seek(served: Served) -> dict[str, Any]:
    served.wait(lambda: served.hub.get("link", {}).get("state") == "up" and served.hub.get("plan"))
    served.server.bench.submit(make_seek("", 14, False, False))
    job: dict[str, Any] = served.wait(
        lambda: (one := served.hub.get("job_seek")) and one["state"] != "running" and one, 60.0
    )
    return job


def test_with_the_flash_off_it_stops_and_asks_nobody(serve: Serve, tmp_path: Path) -> None:
    served = serve(make_opener("sim?fault=flash-off", 3), rig=QUICK_RIG)
    job = run_seek(served)
    assert job["state"] == "failed"
    assert "2 shots in a row gave no information" in job["text"] and "under Check" in job["text"]
    assert [line["answer"].split(":")[0] for line in job["lines"]] == ["no information"] * 2
    assert not find_file(tmp_path / "rig.toml").exists(), "nothing is kept of it"


def test_a_person_may_call_a_picture_black(serve: Serve, open_page: Callable[..., Any]) -> None:
    rig = f"{QUICK_RIG}\n[fitted]\nflash_seen = false\n"
    served = serve(make_opener("sim?fault=flash-off", 3), rig=rig)
    page = open_page(served.link)
    wait_ready(page)
    page.goto(f"{served.origin}/#seek")
    page.get_by_role("button", name="Start").click()
    question = wait_question(served)
    for number in (1, 2):
        black = find_question(page, question).locator('[data-answer="black"]')
        expect(black).to_contain_text("no light")
        black.click()
        served.wait(lambda n=number: served.hub.get("job_seek")["done"] >= n)
        question = wait_question(served, question["id"])
    served.wait(lambda: served.hub.get("job_seek")["state"] == "failed")
    expect(page.get_by_text("the picture was black").first).to_be_visible()
    expect(page.get_by_role("cell", name="black").first).to_be_visible()
