"""What is asked of the page is done in the order in which it was asked, however long it is on its way."""

from __future__ import annotations

import threading
import time
from typing import Any

import pytest
from page_helpers import (
    QUICK_RIG,
    OpenReady,
    Serve,
    Served,
    arm_and_release,
    expect,
    release_again,
    wait_ready,
)

from beamfall.page.jobs import NOT_PLANNED, TIMINGS_CHANGED, make_arm, make_release, make_sweep
from beamfall.planning.make import make_plan


def hold(page: Any, path: str) -> list[Any]:
    """Keep requests of a page on their way until they are let go of."""
    held: list[Any] = []
    page.route(f"**{path}", lambda route: held.append(route))
    return held


def wait_held(page: Any, held: list[Any], count: int = 1) -> None:
    for _ in range(2000):
        if len(held) >= count:
            return
        page.wait_for_timeout(10)
    raise AssertionError("nothing was asked")


def is_up(served: Served) -> bool:
    return bool(served.hub.get("plan")) and served.is_connected


def test_what_waits_to_begin_when_abort_is_pressed_does_not_begin(serve: Serve) -> None:
    """The board's thread is busy listening while a sweep is asked for and aborted."""
    served = serve(rig=QUICK_RIG)
    served.wait(lambda: is_up(served))
    bench = served.server.bench
    listening, go_on = threading.Event(), threading.Event()
    idle = bench._idle

    def busy(*arguments: Any) -> None:
        listening.set()
        go_on.wait(60.0)
        idle(*arguments)

    bench._idle = busy  # type: ignore[method-assign]
    assert listening.wait(60.0)
    bench.submit(make_sweep("flash", "", "", "2 ms", 1, "line", ""))
    bench.abort()
    go_on.set()
    served.wait(lambda: (served.hub.get("job") or {}).get("state") == "aborted")
    assert served.hub.get("job_sweep")["state"] == "aborted"
    # What is asked for after it is done.
    bench.submit(make_arm())
    served.wait(lambda: served.hub.get("armed"))
    assert served.hub.get("shot") is None


def test_the_slower_way_of_an_abort_does_not_end_what_was_begun_after_it(
    open_ready: OpenReady,
) -> None:
    served, page = open_ready()
    held = hold(page, "/do/abort")
    page.keyboard.press("a")
    expect(page.locator("#release")).to_be_enabled()
    page.keyboard.press("Escape")  # by its WebSocket it is there at once
    expect(page.locator("#release")).to_be_disabled()
    wait_held(page, held)
    wait_ready(page)
    page.keyboard.press("a")
    expect(page.locator("#release")).to_be_enabled()
    with page.expect_response("**/do/abort"):
        held[0].continue_()
    page.wait_for_timeout(500)
    assert served.hub.get("armed") is not None
    expect(page.locator("#release")).to_be_enabled()
    # Another press is another one.
    page.unroute("**/do/abort")
    page.keyboard.press("Escape")
    expect(page.locator("#release")).to_be_disabled()


@pytest.mark.quick
def test_an_abort_reaches_what_it_overtakes(open_ready: OpenReady) -> None:
    served, page = open_ready(pace=5.0)
    page.goto(f"{served.origin}/#sweep")
    held = hold(page, "/do/sweep")
    page.get_by_role("button", name="Start the sweep").click()
    wait_held(page, held)
    page.keyboard.press("Escape")
    expect(page.get_by_text("all outputs are off").first).to_be_visible()
    held[0].continue_()
    served.wait(lambda: (served.hub.get("job_sweep") or {}).get("state") == "aborted")


def test_what_is_armed_has_the_timing_that_was_typed_before_it(open_ready: OpenReady) -> None:
    served, page = open_ready()
    held = hold(page, "/do/tune")
    delay = page.locator("#t-delay")
    delay.fill("190.5 ms")
    delay.press("Tab")
    wait_held(page, held)
    page.keyboard.press("a")
    page.wait_for_timeout(300)
    assert served.hub.get("job") is None, "it waits for the timing"
    held[0].continue_()
    served.wait(lambda: served.hub.get("armed"))
    served.wait(lambda: abs(served.hub.get("plan")["delay_ms"] - 190.5) < 1e-6)
    assert served.server.bench.armed is not None
    assert served.server.bench.armed.sequence == served.server.desk.sequence
    expect(page.locator("#state")).to_have_text("armed")


def test_of_two_entries_in_one_field_the_later_one_holds(open_ready: OpenReady) -> None:
    served, page = open_ready()
    page.goto(f"{served.origin}/#rig")
    held = hold(page, "/do/edit")
    height = page.locator("#f-valve-1--height")
    for text in ("24 in", "25 in"):
        height.fill(text)
        height.press("Tab")
    page.wait_for_timeout(300)
    for _ in range(2):
        wait_held(page, held)
        with page.expect_response("**/do/edit"):
            held.pop().continue_()  # the newest on its way is the quickest
    served.wait(lambda: abs(served.server.desk.rig.valves[0].height_m - 0.635) < 1e-9)
    page.wait_for_timeout(300)
    expect(height).to_have_value("25 in")


def test_a_shot_that_is_fired_while_the_log_is_read_is_in_it(open_ready: OpenReady) -> None:
    served, page = open_ready()
    arm_and_release(page)
    served.wait(lambda: served.hub.get("shot"))
    answers: list[Any] = []
    page.route("**/shots", lambda route: answers.append((route, route.fetch())))
    page.goto(f"{served.origin}/#log")
    wait_held(page, answers)
    release_again(page, served, 2)
    page.wait_for_timeout(300)  # the page has been told of its line
    for route, answer in answers:
        route.fulfill(response=answer)
    expect(page.locator(".logrow:visible")).to_have_count(2)


@pytest.mark.parametrize("seconds", [0.1, 3.0])
def test_nothing_is_released_that_the_timings_on_the_page_are_no_more(
    serve: Serve, monkeypatch: pytest.MonkeyPatch, seconds: float
) -> None:
    """Release comes while the plan of the timing that was just set is being made."""
    served = serve(rig=QUICK_RIG)
    served.wait(lambda: is_up(served))
    bench, desk = served.server.bench, served.server.desk
    bench.submit(make_arm())
    served.wait(lambda: served.hub.get("armed") and served.hub.get("job")["state"] == "ended")

    def plan_slowly(*arguments: Any, **options: Any) -> Any:
        time.sleep(seconds)
        return make_plan(*arguments, **options)

    monkeypatch.setattr("beamfall.page.desk.make_plan", plan_slowly)
    desk.step("spacing", "0.5 ms")
    bench.submit(make_release(1))
    served.wait(
        lambda: (
            served.hub.get("job")["kind"] == "release"
            and served.hub.get("job")["state"] != "running"
        )
    )
    # Which of them depends on how busy the machine is.
    assert served.hub.get("job")["text"] in (NOT_PLANNED, TIMINGS_CHANGED)
    assert served.hub.get("shot") is None


def test_an_abort_gets_into_arming_while_the_plan_is_made(
    serve: Serve, monkeypatch: pytest.MonkeyPatch
) -> None:
    served = serve(rig=QUICK_RIG)
    served.wait(lambda: is_up(served) and not served.server.desk.is_planning)
    go_on = threading.Event()

    def plan_late(*arguments: Any, **options: Any) -> Any:
        go_on.wait(60.0)
        return make_plan(*arguments, **options)

    monkeypatch.setattr("beamfall.page.desk.make_plan", plan_late)
    served.server.desk.step("spacing", "0.5 ms")
    served.server.bench.submit(make_arm())
    served.wait(lambda: (served.hub.get("job") or {}).get("state") == "running")
    served.server.bench.abort()
    try:
        served.wait(lambda: served.hub.get("job")["state"] == "aborted")
    finally:
        go_on.set()
    assert served.hub.get("armed") is None


def test_each_press_of_a_step_counts_while_the_page_waits_for_the_one_before(
    open_ready: OpenReady,
) -> None:
    served, page = open_ready()
    before = served.hub.get("plan")["delay_ms"]
    held: list[Any] = []  # the first request alone is slow
    page.route("**/do/*", lambda route: route.continue_() if held else held.append(route))
    page.locator("#t-delay").focus()
    for key in ("ArrowUp", "ArrowUp", "PageUp", "ArrowUp", "ArrowDown", "ArrowUp"):
        page.keyboard.press(key)
    page.get_by_role("button", name="Flash delay: 0.5 ms more").click()
    wait_held(page, held)
    held[0].continue_()
    expect(page.locator("#t-delay")).to_have_value(f"{before + 1.8:.2f} ms")
    served.wait(lambda: abs(served.hub.get("plan")["delay_ms"] - before - 1.8) < 0.002)
    # From what has been typed, where something has.
    page.locator("#t-delay").fill("190.5 ms")
    page.keyboard.press("ArrowUp")
    expect(page.locator("#t-delay")).to_have_value("190.60 ms")
    served.wait(lambda: abs(served.hub.get("plan")["delay_ms"] - 190.6) < 1e-6)
