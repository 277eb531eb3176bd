"""Release waits for the surface and the flash, and says so; what has changed since arming says that it has."""

from __future__ import annotations

import time
import tomllib
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from page_helpers import QUICK_RIG, Served, expect, wait_ready

from beamfall.page.jobs import make_arm, make_flash, make_release
from beamfall.page.waits import Waits
from beamfall.rig import Rig, parse_rig
from beamfall.shots import ShotLog

Serve = Callable[..., Served]
Open = Callable[..., Any]

SLOW_RIG = QUICK_RIG.replace('recycle = "0.2 s"', 'recycle = "1.5 s"').replace(
    'rest = "0.5 s"', 'rest = "5 s"'
)


def flash_times(log_path: Path) -> list[float]:
    """When each logged shot closed the flash's contact, in s of the simulated rig's time."""
    with ShotLog.open(log_path, read_only=True) as log:
        shots = [log.read_shot(line.shot) for line in log.list_shots(limit=None)]
    return [shot.line.begun_us / 1e6 for shot in shots]


@pytest.fixture
def bench(serve: Serve) -> Iterator[Served]:
    served = serve(rig=SLOW_RIG, pace=10.0)
    served.wait(lambda: served.hub.get("link", {}).get("state") == "up" and served.hub.get("plan"))
    do(served, make_arm())
    yield served


def do(served: Served, job: Any) -> str:
    """Have a job done; what it says of having failed."""
    before = (served.hub.get("job") or {}).get("id")
    served.server.bench.submit(job)
    shown = served.wait(
        lambda: (
            (one := served.hub.get("job"))
            and one["id"] != before
            and one["state"] != "running"
            and one
        ),
        30.0,
    )
    served.wait(lambda: served.server.bench._running is None)
    return str(shown["text"]) if shown["state"] == "failed" else ""


def test_releases_in_a_row_keep_the_rest_and_no_picture_is_dark(
    bench: Served, log_path: Path
) -> None:
    """As fast as keys can be pressed: shots come a rest apart at the least, and each one has its light."""
    end = time.monotonic() + 3.0  # 30 s of the rig's
    refused = 0
    while time.monotonic() < end:
        said = do(bench, make_release(1))
        refused += "surface rests" in said
        assert not said or said.startswith("Ready again in"), said
    began = flash_times(log_path)
    assert refused > 5 and len(began) >= 3
    assert min(b - a for a, b in zip(began, began[1:], strict=False)) >= 5.0
    with ShotLog.open(log_path, read_only=True) as log:
        for line in log.list_shots(limit=None):
            lit = [e for e in log.read_shot(line.shot).record.edges if e.what.startswith("light")]
            assert line.state == "fired" and lit, f"shot {line.shot} is dark"


def test_the_rest_may_be_left_out_on_purpose_and_recycling_never(
    bench: Served, log_path: Path
) -> None:
    assert do(bench, make_release(1)) == ""
    said = do(bench, make_release(1, unrested=True))
    assert "flash recycles" in said, said
    bench.wait(lambda: (bench.hub.get("resting") or {"recycle_until": 1})["recycle_until"] is None)
    assert do(bench, make_release(1, unrested=True)) == ""
    first, second = flash_times(log_path)
    assert 1.5 <= second - first < 5.0


def test_a_single_flash_counts_and_a_series_waits_by_itself(bench: Served, log_path: Path) -> None:
    assert do(bench, make_flash(1, "2 ms")) == ""
    assert "flash recycles" in do(bench, make_release(1))
    assert do(bench, make_release(2)) == ""
    first, second = flash_times(log_path)
    assert second - first >= 5.0
    assert do(bench, make_flash(1, "2 ms")) == "", "one flash waits until it can"
    assert "light was seen" in bench.hub.get("job")["text"]


def test_what_is_left_is_the_longer_of_the_two() -> None:
    rig: Rig = parse_rig(tomllib.loads(SLOW_RIG), "test")
    waits = Waits()
    assert waits.find_left(100.0, rig).longest_s == 0.0
    waits.note(100.0)
    left = waits.find_left(101.0, rig)
    assert (left.rest_s, left.recycle_s) == pytest.approx((4.0, 0.5))
    assert left.longest_s == 4.0 and "4.0 s" in left.describe()
    waits.note(104.9, shot=False)
    left = waits.find_left(105.0, rig)
    assert (left.rest_s, left.recycle_s) == pytest.approx((0.0, 1.4))
    assert "flash recycles" in left.describe()
    assert waits.find_left(101.0, rig, rest_s=0.0).rest_s == 0.0


def test_release_counts_down_and_its_key_says_why_it_waits(serve: Serve, open_page: Open) -> None:
    served = serve(rig=SLOW_RIG, pace=1.0)
    page = open_page(served.link)
    wait_ready(page)
    page.keyboard.press("r")
    expect(page.locator(".notice")).to_contain_text("Nothing is armed: press A first.")
    page.keyboard.press("a")
    expect(page.locator("#release")).to_be_enabled()
    page.keyboard.press("r")
    served.wait(lambda: served.hub.get("resting"))
    expect(page.locator("#release")).to_contain_text("Wait 5 s")
    expect(page.locator("#cause")).to_contain_text("Ready again in 5 s: the surface rests")
    shots = served.hub.get("shot")["shot"]
    for _ in range(3):
        page.keyboard.press("r")
        page.wait_for_timeout(300)
    expect(page.locator(".notice", has_text="Ready again in")).to_have_count(1)
    expect(page.locator(".notice").last).to_contain_text("surface rests. Shift and R")
    assert served.hub.get("shot")["shot"] == shots, "nothing went out"
    expect(page.locator("#release")).to_contain_text("Wait 3 s")
    page.keyboard.press("Shift+R")
    served.wait(lambda: served.hub.get("shot")["shot"] == shots + 1)
    expect(page.locator("#release")).to_contain_text("Wait 5 s")
    page.keyboard.press("Shift+R")
    expect(page.locator(".notice").last).to_contain_text("flash recycles, which cannot be cut")
    served.wait(lambda: served.hub.get("resting") is None)
    expect(page.locator("#release")).to_contain_text("Release R")


def test_a_tablet_whose_clock_is_wrong_counts_down_all_the_same(
    serve: Serve, open_page: Open
) -> None:
    served = serve(rig=SLOW_RIG, pace=1.0)
    page = open_page("about:blank")
    page.add_init_script("const real = Date.now; Date.now = () => real() - 600000;")
    page.goto(served.link)
    wait_ready(page)
    page.keyboard.press("a")
    expect(page.locator("#release")).to_be_enabled()
    page.keyboard.press("r")
    expect(page.locator("#release")).to_contain_text("Wait 5 s")


def test_what_was_changed_since_arming_is_said(serve: Serve, open_page: Open) -> None:
    served = serve(rig=QUICK_RIG)
    page = open_page(served.link)
    wait_ready(page)
    page.keyboard.press("a")
    expect(page.locator("#arm")).to_contain_text("Armed ✓")
    expect(page.locator("#state")).to_have_text("armed")
    page.get_by_role("button", name="Flash delay: 0.5 ms more").click()
    expect(page.locator("#state")).to_have_text("changed")
    expect(page.locator("#cause")).to_contain_text("Changed since arming: press A again")
    expect(page.locator("#arm")).not_to_contain_text("✓")
    expect(page.locator("#release")).to_be_disabled()
    page.keyboard.press("r")
    expect(page.locator(".notice")).to_contain_text("Changed since arming: press A again")
    assert served.hub.get("shot") is None
    page.keyboard.press("a")
    expect(page.locator("#arm")).to_contain_text("Armed ✓")
    expect(page.locator("#state")).to_have_text("armed")
