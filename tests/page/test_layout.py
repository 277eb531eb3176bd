"""Nothing is cut, and nothing too small to press: every view, on a small laptop and a telephone, idle and at work."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest
from page_helpers import (
    QUICK_RIG,
    TABLET,
    TELEPHONE,
    VIEWS,
    OpenReady,
    expect,
    read_script,
    wait_ready,
)

# The longest cause that the bar may show.
NO_EDGE = {"word": "no-edge", "meaning": "the beam edge that was awaited did not come in its window",
           "cure": "see whether the drops cross the beam, and whether its light reaches the sensor"}  # fmt: skip
SMALL_LAPTOP = {"width": 1280, "height": 800}
CUTS = read_script("cuts")
TARGETS = read_script("targets")
FINGER = 900  # pixels: up to this width the page is for fingers


def look(page: Any, found: list[str], where: str) -> None:
    least = 44 if page.viewport_size["width"] <= FINGER else 24  # WCAG 2.2, 2.5.5 and 2.5.8
    for one in page.evaluate(CUTS) + page.evaluate(TARGETS, least):
        found.append(f"{where}: {one}")


@pytest.mark.parametrize("size", [SMALL_LAPTOP, TABLET, TELEPHONE], ids=lambda s: str(s["width"]))
def test_no_text_is_cut_or_out_of_reach(
    open_ready: OpenReady, size: dict[str, int], keep_screenshot: Callable[[Any, str], None]
) -> None:
    served, page = open_ready(rig=QUICK_RIG.replace('rest = "0.5 s"', 'rest = "40 s"'), size=size)
    found: list[str] = []
    page.keyboard.press("a")
    expect(page.locator("#release")).to_be_enabled()
    look(page, found, "armed")
    page.locator("summary", has_text="Series").click()
    page.get_by_label("Number of shots").fill("3")
    page.get_by_role("button", name="Release a series of").click()
    served.wait(lambda: (served.hub.get("job") or {}).get("rest_until"))
    page.wait_for_timeout(300)
    look(page, found, "under way")
    served.wait(lambda: (served.hub.get("shot") or {}).get("shot") == 3, 40.0)
    wait_ready(page)
    served.wait(lambda: served.hub.get("shot")["picture"], 40.0)
    look(page, found, "unfolded")
    for view in (view if view != "log" else "log/3" for view in VIEWS):
        page.evaluate("view => { location.hash = view; }", f"#{view}")
        page.wait_for_timeout(700)
        look(page, found, view)
        keep_screenshot(page, f"{view.split('/')[0]}-{size['width']}")
    # Questions, and tables of what came of them.
    for view, button in (("seek", "Start"), ("check", "Find out what is wrong")):
        page.evaluate("view => { location.hash = view; }", f"#{view}")
        wait_ready(page)
        page.get_by_role("button", name=button).click()
        served.wait(lambda: (served.hub.get("job") or {}).get("question"), 60.0)
        page.wait_for_timeout(300)
        look(page, found, f"{view}, asking")
        keep_screenshot(page, f"{view}-asking-{size['width']}")
        if view == "seek":
            page.locator('#question [data-answer="before"]').click()
            served.wait(lambda: served.hub.get("job_seek")["done"])
            page.wait_for_timeout(300)
            look(page, found, "seek, answered")
        page.keyboard.press("Escape")
        served.wait(lambda: served.hub.get("job")["state"] != "running")
    # The words that the bar shows when things go wrong are longer, and a spacing may have four figures.
    page.evaluate("location.hash = '#bench'")
    spacing = page.locator("#t-spacing")
    spacing.fill("1105.25 ms")
    spacing.press("Enter")
    expect(spacing).to_have_value("1105.25 ms")
    look(page, found, "no plan")
    live = served.hub.get("live")
    for word, why in (("armed-for-sensor", None), ("missed", NO_EDGE)):
        served.hub.set(live={**live, "state": word, "cause": why})
        page.wait_for_timeout(150)
        look(page, found, word)
    assert not found, "\n".join(found)


def test_on_a_telephone_one_part_of_the_rig_is_open_at_a_time(open_ready: OpenReady) -> None:
    served, page = open_ready(size=TELEPHONE)
    page.goto(f"{served.origin}/#rig")
    parts = page.locator(".rigform > .fold")
    opened = page.locator(".rigform > .fold[open]")
    expect(parts.first).to_be_visible()
    expect(opened).to_have_count(0)
    summaries = page.locator(".rigform > .fold > summary")
    summaries.nth(1).click()
    summaries.nth(0).click()
    expect(opened).to_have_count(1)
    height = page.locator("#f-valve-1--height")
    height.fill("62")
    height.press("Tab")
    expect(summaries.nth(0)).to_contain_text("1 to correct")
    summaries.nth(0).click()
    expect(opened).to_have_count(0)
    expect(summaries.nth(0)).to_contain_text("1 to correct")  # also where it is folded


def test_a_light_long_after_everything_says_so_within_the_picture(open_ready: OpenReady) -> None:
    served, page = open_ready(size=SMALL_LAPTOP)
    delay = page.locator("#t-delay")
    delay.fill("900 ms")
    delay.press("Enter")
    served.wait(lambda: (served.hub.get("moment") or {}).get("delay_ms") == 900.0)
    assert served.hub.get("moment")["drop_mm"]["p50"] < -1000, "where nothing would stop it"
    expect(page.locator(".momentwords")).to_contain_text("Too late")
    expect(page.locator(".momentbox text", has_text="has struck")).to_have_count(1)
    # In one go: the page draws again after every change.
    frame, texts, boxes = page.evaluate(
        """() => {
          const place = (e) => { const r = e.getBoundingClientRect(); return [r.left, r.top, r.right, r.bottom]; };
          const labels = [...document.querySelectorAll('.momentbox text.label')];
          return [place(document.querySelector('.momentbox svg')), labels.map((e) => e.textContent), labels.map(place)];
        }"""
    )
    assert len(texts) == 4 and not [one for one in texts if "−" in one], texts
    for n, (left, top, right, bottom) in enumerate(boxes):
        assert frame[1] <= top and bottom <= frame[3], texts[n]
        for other in boxes[n + 1 :]:
            apart = (
                right <= other[0] or other[2] <= left or bottom <= other[1] + 4 or other[3] <= top + 4
            )  # fmt: skip
            assert apart, f"{texts[n]} is printed over something else"


def test_on_a_telephone_the_bar_takes_at_most_15_percent_of_the_height(
    open_ready: OpenReady,
) -> None:
    served, page = open_ready(size=TELEPHONE)
    live = served.hub.get("live")
    one, three = live["beams"], {f"beam{n}": "clear" for n in (1, 2, 3)}
    for word, why, beams in (
        ("idle", None, one),
        ("armed-for-sensor", None, one),
        ("missed", NO_EDGE, one),
        ("fired", None, three),
        ("missed", NO_EDGE, three),
    ):
        for _ in range(50):  # the board's own news come in between
            served.hub.set(live={**live, "state": word, "cause": why, "beams": beams})
            page.wait_for_timeout(60)
            shown, bars, share, cut = page.evaluate(
                """() => {
                  const cause = document.getElementById('cause');
                  const hidden = cause.scrollHeight > cause.clientHeight + 2;
                  const rolls = getComputedStyle(cause).overflowY === 'auto';
                  const share = document.getElementById('bar').offsetHeight / innerHeight;
                  const beams = document.querySelectorAll('#beams .beam').length;
                  return [document.getElementById('state').dataset.word, beams, share, hidden && !rolls];
                }"""
            )
            if (shown, bars) == (word, len(beams)):
                break
        assert (shown, bars) == (word, len(beams))
        assert share <= 0.15, f"{word}, {len(beams)} beams: {share:.3f}"
        assert not cut, "a long cause can be scrolled to"
