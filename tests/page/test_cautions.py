"""Anybody about to let flashes repeat reads the caution: in sight, in every view that can do it, and once."""

from __future__ import annotations

import pytest
from page_helpers import OpenReady, expect

COUNT = """() => [...document.querySelectorAll('body *')].filter((e) => e.checkVisibility()
  && [...e.childNodes].some((n) => n.nodeType === 3 && n.textContent.includes('epilepsy'))).length"""


@pytest.mark.parametrize("view", ["bench", "sweep", "seek", "check"])
def test_a_view_that_flashes_says_its_caution_once(open_ready: OpenReady, view: str) -> None:
    served, page = open_ready()
    page.goto(f"{served.origin}/#{view}")
    expect(page.locator(".strobe")).to_be_in_viewport()
    assert page.evaluate(COUNT) == 1
    for folded in page.locator("summary").all():
        folded.click()
    assert page.evaluate(COUNT) == 1
    if view == "check":
        page.get_by_role("button", name="Find out what is wrong").click()
        expect(page.locator("#question .caution").first).to_be_visible()
        assert page.evaluate(COUNT) == 1
        served.server.bench.abort()
