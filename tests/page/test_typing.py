"""What somebody is typing is theirs: news of the board, the plan or another page must not overwrite it."""

from __future__ import annotations

import threading
from pathlib import Path
from typing import Any

import pytest
from page_helpers import OpenReady, arm_and_release, expect

from beamfall.page import guided, pictures
from beamfall.setup.rig import Rig
from beamfall.shots import ShotLog


@pytest.mark.quick
def test_a_timing_half_typed_outlives_a_new_plan(open_ready: OpenReady) -> None:
    served, page = open_ready()
    delay = page.locator("#t-delay")
    delay.fill("190.5 ms")
    served.server.desk.tune("0.1 s")  # as another page would
    expect(page.locator("#t-spacing")).to_have_value("100.00 ms")
    served.wait(lambda: served.hub.get("plan")["spacing_ms"] == 100.0)
    expect(page.get_by_text("Set by hand")).to_be_visible()
    expect(delay).to_have_value("190.5 ms")
    delay.press("Enter")
    served.wait(lambda: abs(served.hub.get("plan")["delay_ms"] - 190.5) < 1e-6)
    expect(delay).to_have_value("190.50 ms")
    # Entered, and still in it: now it shows what is so again.
    served.server.desk.tune(delay="191 ms")
    expect(delay).to_have_value("191.00 ms")


def test_a_timing_left_as_it_was_shows_what_has_become_of_it(open_ready: OpenReady) -> None:
    served, page = open_ready()
    delay = page.locator("#t-delay")
    before = delay.input_value()
    delay.press("End")
    delay.press_sequentially("7")
    served.server.desk.tune("0.1 s", "191 ms")
    expect(page.locator("#t-spacing")).to_have_value("100.00 ms")
    delay.press("Backspace")
    expect(delay).to_have_value(before)
    delay.press("Tab")
    expect(delay).to_have_value("191.00 ms")
    assert served.hub.get("moment")["delay_ms"] == 191.0


def test_what_is_selected_to_be_typed_over_stays_selected(open_ready: OpenReady) -> None:
    served, page = open_ready()
    delay = page.locator("#t-delay")
    delay.press("ControlOrMeta+a")
    served.server.desk.tune(delay="191 ms")
    expect(delay).to_have_value("191.00 ms")
    page.keyboard.type("190.5 ms")
    expect(delay).to_have_value("190.5 ms")


def test_a_field_of_the_rig_half_typed_outlives_another_ones_news(open_ready: OpenReady) -> None:
    served, page = open_ready()
    page.goto(f"{served.origin}/#rig")
    height = page.locator("#f-valve-1--height")
    height.fill("24 in")
    served.server.desk.edit("dish.depth", "26 mm")
    expect(page.locator("#f-dish-depth")).to_have_value("26 mm")
    expect(height).to_have_value("24 in")
    height.press("Tab")
    served.wait(lambda: abs(served.server.desk.rig.valves[0].height_m - 0.6096) < 1e-9)
    expect(height).to_have_value("24 in")


def test_a_field_of_the_rig_half_typed_outlives_a_new_part(open_ready: OpenReady) -> None:
    served, page = open_ready()
    page.goto(f"{served.origin}/#rig")
    height = page.locator("#f-valve-1--height")
    height.press("End")
    height.press("ControlOrMeta+a")
    page.keyboard.type("24 i")
    served.server.desk.add("beam")
    served.server.desk.edit("beam[2].height", "20 cm")
    expect(page.locator("#f-beam-2--height")).to_have_value("20 cm")
    expect(height).to_be_focused()
    expect(height).to_have_value("24 i")
    page.keyboard.type("n")
    expect(height).to_have_value("24 in")
    height.press("Tab")
    served.wait(lambda: abs(served.server.desk.rig.valves[0].height_m - 0.6096) < 1e-9)
    assert served.hub.get("job") is None, "no letter of it was a key of the page"
    # Where nothing has been typed the news is shown, and the place is kept as well.
    height.focus()
    served.server.desk.remove("beam[2]")
    served.server.desk.edit("valve[1].height", "25 in")
    expect(page.locator("#f-beam-2--height")).to_have_count(0)
    expect(height).to_be_focused()
    expect(height).to_have_value("25 in")


def test_a_note_half_written_outlives_a_picture_and_another_shot(
    open_ready: OpenReady, log_path: Path
) -> None:
    served, page = open_ready()
    arm_and_release(page)
    expect(page.get_by_role("heading", name="Shot 1: fired")).to_be_visible()
    page.goto(f"{served.origin}/#log/1")
    expect(page.get_by_role("heading", name="Shot 1", exact=True)).to_be_visible()
    expect(page.locator(".detail img")).to_be_visible()
    note = page.get_by_label("Note", exact=True)
    note.fill("the umbrella leans")
    served.hub.tell("picture", shot=1)  # one more picture of it has come
    expect(page.locator("#note-state")).to_have_text("not saved yet")
    page.wait_for_timeout(300)
    expect(note).to_have_value("the umbrella leans")
    # The place is not lost either: the next letter is one of the note, and none of the page's keys.
    expect(note).to_be_focused()
    page.keyboard.type(" to the right")
    assert served.hub.get("shot")["shot"] == 1
    page.goto(f"{served.origin}/#bench")
    page.goto(f"{served.origin}/#log/1")
    expect(note).to_have_value("the umbrella leans to the right")
    page.get_by_role("button", name="Save the note").click()
    expect(page.locator("#note-state")).to_have_text("saved")
    with ShotLog.open(log_path, read_only=True) as log:
        assert log.read_shot(1).line.note == "the umbrella leans to the right"


def test_the_picture_comes_into_the_panel_where_somebody_writes(
    open_ready: OpenReady, monkeypatch: pytest.MonkeyPatch
) -> None:
    drawn = threading.Event()
    draw = pictures._draw

    def draw_late(*arguments: Any) -> None:
        drawn.wait(60.0)
        draw(*arguments)

    monkeypatch.setattr(pictures, "_draw", draw_late)
    served, page = open_ready()
    arm_and_release(page)
    expect(page.get_by_role("heading", name="Shot 1: fired")).to_be_visible()
    page.goto(f"{served.origin}/#log/1")
    note = page.get_by_label("Note", exact=True)
    note.fill("the umbrella leans")
    drawn.set()
    expect(page.locator(".detail > .pic img")).to_have_js_property("complete", True)
    expect(note).to_be_focused()
    expect(note).to_have_value("the umbrella leans")
    page.get_by_role("button", name="Save the note").click()
    expect(page.locator("#note-state")).to_have_text("saved")


def test_a_wrong_value_is_named_beside_its_field_stays_and_is_mended_by_one_press(
    open_ready: OpenReady,
) -> None:
    served, page = open_ready(quiet=False)  # the browser reports refused requests as errors
    delay = page.locator("#t-delay")
    delay.fill("190,500 ms")
    delay.press("Enter")
    beside = page.locator(".timing", has=delay).locator(".field-problem")
    expect(beside).to_be_visible()
    expect(delay).to_have_value("190,500 ms")
    beside.get_by_role("button", name="Use 190.500 ms").click()
    served.wait(lambda: served.hub.get("plan")["delay_ms"] == 190.5)
    expect(beside).to_be_hidden()

    page.goto(f"{served.origin}/#rig")
    bore = page.locator("#f-valve-1--bore")
    bore.fill("3 cm")
    bore.press("Tab")
    page.get_by_role("button", name="Use 3 mm").click()
    served.wait(lambda: served.server.desk.rig.valves[0].bore_m == 0.003)
    expect(bore).to_have_value("3 mm")

    page.goto(f"{served.origin}/#sweep")
    first = page.get_by_label("From")
    first.fill("185")
    page.get_by_role("button", name="Start the sweep").click()
    beside = page.locator(".field", has=first).locator(".field-problem")
    expect(beside).to_be_visible()
    expect(first).to_have_value("185")
    expect(page.locator(".notice")).to_have_count(0)
    assert served.hub.get("job_sweep") is None
    beside.get_by_role("button", name="Use 185 ms").click()
    expect(first).to_have_value("185 ms")
    expect(beside).to_be_hidden()


def test_the_guide_shows_again_what_was_typed_before_going_back(open_ready: OpenReady) -> None:
    """Each press of Back would otherwise replace a measure with a suggestion."""
    served, page = open_ready()
    page.goto(f"{served.origin}/#rig/guide")
    number, answer = page.locator(".guide .small"), page.locator("#guide-answer")
    for step, text in enumerate(("milk", "", "44,5 cm"), 1):
        expect(number).to_contain_text(f"Question {step} of")
        answer.fill(text)
        answer.press("Enter")
    for step, text in ((3, "44,5 cm"), (2, ""), (1, "milk")):
        expect(number).to_contain_text(f"Question {step + 1} of")
        page.get_by_role("button", name="Back", exact=True).click()
        expect(number).to_contain_text(f"Question {step} of")
        expect(answer).to_have_value(text)
    for step in (2, 3, 4):
        answer.press("Enter")
        expect(number).to_contain_text(f"Question {step} of")
    assert '"44,5 cm"' in page.evaluate("sessionStorage.getItem('beamfall-guide')")


def test_an_answer_of_the_guide_pressed_twice_is_sent_once(
    open_ready: OpenReady, monkeypatch: pytest.MonkeyPatch
) -> None:
    served, page = open_ready()
    page.goto(f"{served.origin}/#rig/guide")
    expect(page.locator(".guide .small")).to_contain_text("Question 1 of")
    taken: list[str] = []
    go_on = threading.Event()
    describe_answer = guided.describe_answer

    def describe_slowly(key: str, rig: Rig) -> list[str]:
        taken.append(key)
        go_on.wait(30.0)
        return describe_answer(key, rig)

    monkeypatch.setattr(guided, "describe_answer", describe_slowly)
    answer = page.locator("#guide-answer")
    answer.fill("milk")
    answer.press("Enter")
    answer.press("Enter")
    expect(page.get_by_role("button", name="Next", exact=True)).to_be_disabled()
    go_on.set()
    expect(page.locator(".guide .small")).to_contain_text("Question 2 of")
    answer.press("Enter")
    expect(page.locator(".guide .small")).to_contain_text("Question 3 of")
    assert taken == ["liquid", "liquid.temperature"]
