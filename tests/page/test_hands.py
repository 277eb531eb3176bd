"""A page for busy hands: a presenter's key is taught and works, Escape always aborts, a link comes as a QR code."""

from __future__ import annotations

from typing import Any

import pytest
from page_helpers import OpenReady, wait_on_page
from playwright.sync_api import expect

from beamfall.page.door import draw_code, print_code


@pytest.fixture
def shown(open_ready: OpenReady) -> Any:
    served, page = open_ready()
    return served, page


def test_a_taught_key_arms_and_the_old_one_still_does(shown: Any) -> None:
    served, page = shown
    page.locator("summary", has_text="Series").click()
    page.locator("summary", has_text="Keys, presenter").click()
    page.locator("#key-arm").click()
    page.keyboard.press("PageDown")  # as a presenter sends it
    expect(page.locator(".keys")).to_contain_text("PageDown")
    assert served.hub.get("armed") is None, "a key that is taught does nothing yet"
    page.keyboard.press("PageDown")
    served.wait(lambda: served.hub.get("armed") is not None, 30.0)
    page.reload()  # kept on this device
    page.locator("summary", has_text="Series").click()
    page.locator("summary", has_text="Keys, presenter").click()
    expect(page.locator(".keys")).to_contain_text("PageDown")


# What a phone would do, noted instead of done.
SPY = """() => {
  window.noted = [];
  navigator.vibrate = (pattern) => noted.push(`vibrates ${pattern}`);
  speechSynthesis.speak = (one) => noted.push(`says ${one.text}`);
  const lock = { addEventListener: () => {}, release: async () => noted.push('may sleep') };
  const wakeLock = { request: async (kind) => { noted.push(`keeps the ${kind} on`); return lock; } };
  Object.defineProperty(navigator, 'wakeLock', { value: wakeLock });
}"""


def test_a_presenter_releases_and_the_phone_speaks_vibrates_and_stays_awake(shown: Any) -> None:
    served, page = shown
    page.evaluate(SPY)
    page.locator("summary", has_text="Series").click()
    page.locator("#voice").click()
    page.locator("summary", has_text="Keys, presenter").click()
    for action, key in (("arm", "PageUp"), ("release", "PageDown")):
        page.locator(f"#key-{action}").click()
        page.keyboard.press(key)
    page.keyboard.press("PageUp")
    expect(page.locator("#arm")).to_contain_text("Armed")
    expect(page.locator("#release")).to_be_enabled()
    page.evaluate("window.noted.length = 0")
    page.keyboard.press("PageDown")
    served.wait(lambda: (served.hub.get("shot") or {}).get("state") == "fired")
    wait_on_page(page, "window.noted.at(-1) === 'may sleep'")
    noted = page.evaluate("window.noted")
    assert noted[0] == "keeps the screen on" and noted.count("keeps the screen on") == 1
    assert {"says armed", "says fired", "vibrates 60"} <= set(noted)
    served.hub.tell("state", state="missed")
    wait_on_page(page, "window.noted.includes('says missed')")
    assert "vibrates 60,80,60" in page.evaluate("window.noted")


def test_a_key_moves_the_flash_in_every_view(shown: Any) -> None:
    served, page = shown
    page.keyboard.press("7")  # the log
    before = served.hub.get("plan")["delay_ms"]
    page.keyboard.press(".")
    # a step leads to a whole microsecond
    served.wait(lambda: served.hub.get("plan")["delay_ms"] == pytest.approx(before + 0.1, abs=6e-4))


def test_another_device_gets_a_code_to_photograph_where_the_page_listens_on_the_network(
    shown: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    served, page = shown
    page.locator("summary", has_text="Series").click()
    page.get_by_role("button", name="Link for another device").click()
    expect(page.locator(".linkcode")).to_contain_text("--listen")  # this one listens at home only
    expect(page.locator(".linkcode svg")).to_have_count(0)
    monkeypatch.setattr(type(served.server.door), "make_link", lambda door: LINK)
    page.get_by_role("button", name="Link for another device").click()
    expect(page.locator(".linkcode svg path")).to_be_visible()


LINK = "http://192.168.1.20:8080/#" + "a" * 43


def test_the_code_is_one_that_a_reader_reads() -> None:
    """OpenCV's reader (another implementation than the writer) reads the link back."""
    import cv2
    import numpy as np

    rows = draw_code(LINK)
    dark = np.array([[int(one) for one in row] for row in rows], dtype=np.uint8)
    picture = np.kron(
        np.pad(255 - 255 * dark, 4, constant_values=255), np.ones((8, 8), dtype=np.uint8)
    )
    found, _, _ = cv2.QRCodeDetector().detectAndDecode(picture)
    assert found == LINK


def test_the_code_fits_a_terminal_of_eighty_columns() -> None:
    assert max(map(len, print_code(LINK).splitlines())) <= 80
