"""The whole job in a browser: from the rig form to a rated shot, seen the same on every page."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from page_helpers import (
    QUICK_RIG,
    TABLET,
    Open,
    OpenReady,
    Serve,
    arm_and_release,
    expect,
    find_question,
    wait_question,
    wait_ready,
)

from beamfall.page.jobs import NOT_PLANNED, TIMINGS_CHANGED
from beamfall.page.words import VALVE_STAYED_CLOSED
from beamfall.shots import ShotLog
from beamfall.workflows.words import DROP_SEEN


@pytest.mark.quick
def test_from_the_plan_to_a_rated_shot(
    open_ready: OpenReady, log_path: Path, keep_screenshot: Callable[[Any, str], None]
) -> None:
    served, page = open_ready()
    assert served.server.door.token not in page.url, "the token leaves the address bar"

    # A height in inches is taken; one without a unit is refused beside its field, and nothing can be armed.
    page.goto(f"{served.origin}/#rig")
    height = page.get_by_label("height", exact=True).first  # the valve's
    height.fill("24")
    height.press("Tab")
    field = page.locator(".field", has=page.locator("#f-valve-1--height"))
    expect(field.locator(".field-problem")).to_contain_text("has no unit")
    expect(page.locator("#arm")).to_be_disabled()
    height.fill("24 in")
    height.press("Tab")
    expect(field.locator(".field-problem")).to_be_hidden()
    wait_ready(page)
    assert abs(served.server.desk.rig.valves[0].height_m - 0.6096) < 1e-9  # 24 in, NIST SP 811

    # A timing is changed by hand: what it does to drop 2 and jet is there at once, and the plan follows.
    page.goto(f"{served.origin}/#bench")
    served.server.desk.wait()  # the plan of the rig as it is now
    before = served.hub.get("moment")["drop_mm"]["p50"]
    delay = page.locator("#t-delay")
    delay.fill("190.5 ms")
    delay.press("Enter")
    served.wait(lambda: abs(served.hub.get("plan")["delay_ms"] - 190.5) < 1e-6)
    assert served.hub.get("moment")["drop_mm"]["p50"] < before, "a later light finds drop 2 lower"
    expect(page.get_by_text("Set by hand")).to_be_visible()
    page.get_by_role("button", name="Back to the plan").click()
    expect(page.get_by_text("As planned; the flash")).to_be_visible()

    arm_and_release(page)
    expect(page.locator("#state")).to_have_text("fired")
    expect(page.get_by_role("heading", name="Shot 1: fired")).to_be_visible()
    picture = page.locator(".splash-picture img")
    expect(picture).to_be_visible()
    page.locator('.splash-words [data-rate="4"]').click()
    expect(page.locator('.splash-words [data-rate="4"]')).to_have_attribute("aria-pressed", "true")
    keep_screenshot(page, "bench-laptop")

    # The log has it, with the rating; a note with markup is text.
    page.goto(f"{served.origin}/#log/1")
    expect(page.get_by_role("heading", name="Shot 1", exact=True)).to_be_visible()
    expect(page.locator(".detail img")).to_have_js_property("complete", True)
    assert page.locator(".detail img").evaluate("image => image.naturalWidth") > 100
    page.get_by_label("Note").fill("<img src=x onerror=alert(1)> first light")
    page.get_by_role("button", name="Save the note").click()
    expect(page.locator(".logrow .c-note").first).to_have_text(
        "<img src=x onerror=alert(1)> first light"
    )
    keep_screenshot(page, "log-laptop")
    note, row = (page.locator(css).first for css in (".logrow .c-note", ".logrow"))
    assert note.evaluate("one => one.scrollWidth <= one.clientWidth"), "the list has room for it"
    inner, outer = note.bounding_box(), row.bounding_box()
    assert outer["y"] <= inner["y"] and inner["y"] + inner["height"] <= outer["y"] + outer["height"]
    with ShotLog.open(log_path, read_only=True) as log:
        logged = log.read_shot(1)
    assert logged.record.state == "fired"
    assert logged.line.rating == 4
    assert logged.line.note == "<img src=x onerror=alert(1)> first light"
    assert logged.rig is not None
    assert abs(logged.rig["valves"][0]["height_m"] - 0.6096) < 1e-9


def test_two_pages_see_the_same_and_a_reload_loses_nothing(serve: Serve, open_page: Open) -> None:
    served = serve(rig=QUICK_RIG)
    first = open_page(served.link)
    second = open_page(served.link, size=TABLET)
    wait_ready(first)
    wait_ready(second)
    spacing = first.locator("#t-spacing")
    spacing.fill("0.1 s")
    spacing.press("Enter")
    expect(second.locator("#t-spacing")).to_have_value("100.00 ms")
    arm_and_release(second)
    for page in (first, second):
        expect(page.locator("#state")).to_have_text("fired")
        expect(page.get_by_role("heading", name="Shot 1: fired")).to_be_visible()
    first.reload()
    expect(first.locator("#t-spacing")).to_have_value("100.00 ms")
    expect(first.locator("#state")).to_have_text("fired")
    expect(first.locator("#arm")).to_contain_text("Armed")
    expect(first.get_by_role("heading", name="Shot 1: fired")).to_be_visible()
    expect(first.locator(".splash-picture img")).to_be_visible()


def test_changed_timings_must_be_armed_again(open_ready: OpenReady) -> None:
    served, page = open_ready()
    page.keyboard.press("a")
    expect(page.locator("#release")).to_be_enabled()
    page.get_by_role("button", name="Flash delay: 0.5 ms more").click()
    expect(page.locator("#release")).to_be_disabled()
    # Nor by asking the server behind the page's back.
    answer = page.evaluate(
        "() => fetch('/do/release', {method: 'POST', headers: {'content-type': 'application/json'},"
        " body: '{}'}).then((r) => r.json())"
    )
    assert answer == {"ok": True}
    served.wait(lambda: (served.hub.get("job") or {}).get("state") == "failed")
    assert served.hub.get("job")["text"] in (NOT_PLANNED, TIMINGS_CHANGED)


def test_a_shot_is_compared_and_fired_again(
    open_ready: OpenReady, keep_screenshot: Callable[[Any, str], None]
) -> None:
    served, page = open_ready()
    page.keyboard.press("a")
    expect(page.locator("#release")).to_be_enabled()
    page.locator("summary", has_text="Series").click()
    page.get_by_label("Number of shots").fill("6")
    page.get_by_role("button", name="Release a series of").click()
    served.wait(lambda: (served.hub.get("shot") or {}).get("shot") == 6, 40.0)
    wait_ready(page)
    served.wait(lambda: served.hub.get("shot")["picture"], 40.0)
    page.goto(f"{served.origin}/#log")
    expect(page.locator(".logrow:visible")).to_have_count(6)
    page.get_by_label("Compare shot 2").check()
    page.get_by_label("Compare shot 5").check()
    page.get_by_role("button", name="Compare 2 and 5").click()
    expect(page.get_by_role("heading", name="Shots 2 and 5")).to_be_visible()
    # News of the shot that was open before, such as its picture, do not take the comparison away.
    served.hub.tell("picture", shot=6)
    page.wait_for_timeout(300)
    expect(page.get_by_role("table").filter(has_text="beam1")).to_contain_text("dark 1")
    keep_screenshot(page, "compare-laptop")
    page.locator(".logrow:visible").first.click()
    page.get_by_role("button", name="Fire it again").click()
    expect(page.get_by_role("heading", name="Fired again: then and now")).to_be_visible()
    page.get_by_role("button", name="Contact sheet").click()
    expect(page.locator(".cell:visible img").first).to_be_visible()
    keep_screenshot(page, "contact-sheet-laptop")
    page.goto(f"{served.origin}/#repeatability")
    expect(page.get_by_role("heading", name="arrival of drop 1")).to_be_visible()
    page.locator("summary", has_text="Figures and chart").first.click()
    expect(page.locator(".chart circle").first).to_be_visible()
    keep_screenshot(page, "repeatability-laptop")


def test_seeking_with_answer_buttons_under_the_picture(
    open_ready: OpenReady, keep_screenshot: Callable[[Any, str], None]
) -> None:
    served, page = open_ready()
    page.goto(f"{served.origin}/#seek")
    page.get_by_role("button", name="Start").click()
    question = wait_question(served)
    for number in range(1, 4):
        seen = served.hub.get("shot")["seen"]  # what the simulated picture shows
        asking = find_question(page, question)
        expect(asking.locator("img")).to_be_visible()
        if number == 1:
            keep_screenshot(page, "seek-laptop")
        asking.locator(f'[data-answer="{seen}"]').click()
        question = wait_question(served, question["id"])
        if question is None:
            break
    if question is not None:
        # Typed, with heights: the words of `beamfall seek`.
        expect(find_question(page, question)).to_be_visible()
        page.get_by_label("The answer in words").fill("nonsense")
        page.get_by_role("button", name="Answer", exact=True).click()
        expect(page.locator("#question .hint")).to_contain_text("expected one of")
        page.get_by_label("The answer in words").fill("found")
        page.get_by_role("button", name="Answer", exact=True).click()
    expect(page.locator(".found")).to_contain_text("has the picture")
    page.get_by_role("button", name="Use these timings").click()
    served.wait(lambda: served.hub.get("plan")["tuned"])


def test_the_check_finds_an_unplugged_flash(
    open_ready: OpenReady, keep_screenshot: Callable[[Any, str], None]
) -> None:
    from beamfall.page.listening import make_opener

    served, page = open_ready(make_opener("sim?seed=5&fault=flash-off", 5), pace=100.0)
    page.goto(f"{served.origin}/#check")
    page.get_by_role("button", name="Find out what is wrong").click()
    expect(page.get_by_text("photosensitive epilepsy").first).to_be_visible()
    begin = wait_question(served)["id"]
    page.get_by_role("button", name="Begin", exact=True).click()
    question = wait_question(served, begin)
    shown = False
    while question is not None:
        hint = question["hint"].removeprefix("On the simulated rig: ")
        value = next(
            (c["value"] for c in question["choices"] if c["words"] == hint),
            question["choices"][0]["value"],
        )
        asking = find_question(page, question)
        if hint and not shown:
            expect(asking.locator(".hint")).to_contain_text(hint)
            keep_screenshot(page, "check-laptop")
            shown = True
        asking.locator(f'[data-answer="{value}"]').click()
        question = wait_question(served, question["id"])
    expect(page.locator(".finding .found")).to_contain_text("flash")
    result = served.hub.get("job")["result"]
    assert "flash-off" in [*result["found"], *result["remaining"]]
    keep_screenshot(page, "check-found-laptop")


def test_calibration_narrows_the_plan_and_stays_on_show(open_ready: OpenReady) -> None:
    served, page = open_ready(pace=100.0)
    before = served.hub.get("plan")["intervals"]["nozzle_to_beam"]
    page.goto(f"{served.origin}/#calibrate")
    page.get_by_label("Shots, two drops each").fill("8")
    page.get_by_role("button", name="Start measuring").click()
    served.wait(lambda: (served.hub.get("job_calibrate") or {}).get("state") == "ended", 60.0)
    expect(page.get_by_role("rowheader", name="start of the fall")).to_be_visible()
    served.wait(
        lambda: (
            served.hub.get("plan")["intervals"]["nozzle_to_beam"]["p95"]
            - served.hub.get("plan")["intervals"]["nozzle_to_beam"]["p5"]
            < 0.8 * (before["p95"] - before["p5"])
        )
    )
    # Another job and a reload take nothing of it away.
    wait_ready(page)
    page.keyboard.press("a")
    expect(page.locator("#arm")).to_contain_text("Armed")
    page.reload()
    expect(page.get_by_role("rowheader", name="start of the fall")).to_be_visible()


def test_a_rinse_asks_first_and_a_question_shows_on_every_view(open_ready: OpenReady) -> None:
    served, page = open_ready()
    page.locator("summary", has_text="Series").click()
    page.get_by_role("button", name="Rinse").click()
    expect(page.locator("#question")).to_contain_text("Is a container under it?")
    expect(page.locator("#question .caution")).to_contain_text("coil warms")
    page.goto(f"{served.origin}/#log")
    page.locator('#question [data-answer="no"]').click()
    served.wait(lambda: served.hub.get("job")["state"] == "ended")
    assert served.hub.get("job")["text"] == VALVE_STAYED_CLOSED
    page.goto(f"{served.origin}/#bench")
    page.get_by_role("button", name="One drop").click()
    expect(page.locator(".said")).to_contain_text(DROP_SEEN)


def test_photographs_are_shown_and_what_is_no_picture_is_not(
    open_ready: OpenReady, open_page: Open, log_path: Path, tmp_path: Path
) -> None:
    from PIL import Image

    served, page = open_ready()
    arm_and_release(page)
    expect(page.get_by_role("heading", name="Shot 1: fired")).to_be_visible()
    # Once it is drawn, nothing may ask for the picture again: that would be refused in the end.
    expect(page.locator(".splash-picture img")).to_be_visible()
    photograph, secret = tmp_path / "IMG_0001.jpg", tmp_path / "secret.jpg"
    Image.new("RGB", (1200, 800), (10, 200, 30)).save(photograph)
    secret.write_text("not for the page", encoding="utf-8")
    look = """() => fetch('/shots/1/picture').then(
      async (answer) => [answer.status, answer.headers.get('content-type'), await answer.text()])"""
    with ShotLog.open(log_path) as log:
        log.set_picture(1, str(photograph))
        status, kind, _ = page.evaluate(look)
        assert (status, kind) == (200, "image/jpeg")
        page.goto(f"{served.origin}/#log/1")
        expect(page.locator(".detail img")).to_have_js_property("naturalWidth", 1200)
        log.set_picture(1, str(secret))
    hidden = open_page(served.origin, quiet=False, context=page.context)
    status, _, text = hidden.evaluate(look)
    assert status == 404 and "not for the page" not in text
