"""The search over the page: black pictures end it with advice, and teach it nothing."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
from page_helpers import (
    LAPTOP,
    QUICK_RIG,
    TABLET,
    TELEPHONE,
    OpenReady,
    Serve,
    Served,
    expect,
    find_question,
    wait_question,
)

from beamfall.page.commands import use_found
from beamfall.page.jobs import make_seek
from beamfall.page.listening import make_opener
from beamfall.planning.learned import find_file
from beamfall.shots.remarks import NO_LIGHT
from beamfall.sim import develop


def run_seek(served: Served, *, simulated_person: bool = False) -> dict[str, Any]:
    served.wait(lambda: served.hub.get("link", {}).get("state") == "up" and served.hub.get("plan"))
    served.server.bench.submit(make_seek("", 14, False, simulated_person))
    job: dict[str, Any] = served.wait(
        lambda: (one := served.hub.get("job_seek")) and one["state"] != "running" and one, 60.0
    )
    return job


def test_with_the_flash_off_it_stops_and_asks_nobody(serve: Serve, tmp_path: Path) -> None:
    served = serve(make_opener("sim?fault=flash-off", 3), rig=QUICK_RIG)
    job = run_seek(served)
    assert job["state"] == "failed"
    assert "2 shots" in job["text"] and NO_LIGHT in job["text"] and "Check" in job["text"]
    assert [line["answer"].split(":")[0] for line in job["lines"]] == ["no information"] * 2
    assert not find_file(tmp_path / "rig.toml").exists(), "nothing is kept of it"


def test_a_person_may_call_a_picture_black(open_ready: OpenReady) -> None:
    rig = f"{QUICK_RIG}\n[fitted]\nflash_seen = false\n"
    served, page = open_ready(make_opener("sim?fault=flash-off", 3), rig=rig)
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


@pytest.mark.parametrize("size", [TELEPHONE, TABLET, LAPTOP], ids=lambda size: size["width"])
def test_the_picture_and_all_answers_are_in_view(
    open_ready: OpenReady, size: dict[str, int], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(develop, "PIXELS", 600)  # as large as the page shows it
    served, page = open_ready(size=size)
    page.goto(f"{served.origin}/#seek")
    page.get_by_role("button", name="Start").click()
    asked = find_question(page, wait_question(served))
    expect(asked.locator(".askpic img")).to_be_visible()
    expect(asked.locator(".askpic img")).to_have_js_property("complete", True)
    picture = asked.locator(".askpic img").bounding_box()
    answers = [one.bounding_box() for one in asked.locator("[data-answer]").all()]
    foot = page.locator("#bar" if size is TELEPHONE else "#strip").bounding_box()
    assert picture["y"] >= 0 and picture["height"] > 200
    assert len(answers) > 6
    for one in answers:
        beside = one["x"] >= picture["x"] + picture["width"]
        assert beside or one["y"] >= picture["y"] + picture["height"]
        assert one["y"] + one["height"] <= foot["y"]
    if size is TELEPHONE:
        asked.locator("summary", has_text="What the words mean").click()
        expect(asked.locator("dd").first).to_be_visible()


def test_timings_that_were_found_say_where_they_come_from(serve: Serve) -> None:
    served = serve(rig=QUICK_RIG)
    desk, hub = served.server.desk, served.hub
    found = run_seek(served, simulated_person=True)["result"]
    use_found(served.server.bench)
    plan = served.wait(lambda: (one := hub.get("plan"))["tuned"] == found["source"] and one)
    assert str(found["shot"]) in plan["tuned"], "by its number in the log"
    assert plan["spacing_ms"] == found["spacing_ms"] and plan["delay_ms"] == found["delay_ms"]
    desk.step("delay", "0.5 ms")
    by_hand = served.wait(lambda: (now := hub.get("plan")["tuned"]) != found["source"] and now)
    assert by_hand and str(found["shot"]) not in by_hand
    desk.untune()
    served.wait(lambda: hub.get("plan")["tuned"] == "")


def test_later_answers_also_judge_earlier_pictures(serve: Serve) -> None:
    """What the table says of the picture that was found is what the search believes at its end."""
    served = serve(rig=QUICK_RIG)
    job = run_seek(served, simulated_person=True)
    lines, found = job["lines"], job["result"]
    said = {line["shot"]: line["chance"] for line in lines}
    assert said[found["shot"]] == found["chance"] == max(said.values())


def test_after_a_search_the_page_says_whose_timings_it_shows(open_ready: OpenReady) -> None:
    served, page = open_ready()
    found = run_seek(served, simulated_person=True)["result"]
    page.goto(f"{served.origin}/#seek")
    page.get_by_role("button", name="Use these timings").click()
    page.get_by_role("link", name="Go to the Bench").click()
    expect(page.locator(".p-tune")).to_contain_text(found["source"])
    # The rig's drawing has the planned drops only. The last shot of the search may have had these very timings.
    legend = page.locator(".p-rig .legend")
    expect(legend).to_contain_text("not drawn")
    expect(legend).not_to_contain_text("yet")
