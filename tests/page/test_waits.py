"""Release waits for the surface and the flash, and says so; what has changed since arming says that it has."""

from __future__ import annotations

import json
import re
import time
import tomllib
from pathlib import Path
from typing import Any

import pytest
from page_helpers import (
    QUICK_RIG,
    Open,
    OpenReady,
    Serve,
    Served,
    arm_and_release,
    expect,
    wait_on_page,
    wait_ready,
)

from beamfall.page.jobs import make_arm, make_flash, make_release
from beamfall.page.words import say_left
from beamfall.setup.rig import Rig, parse_rig
from beamfall.shots import ShotLog
from beamfall.workflows.waits import Left, Waits
from beamfall.workflows.words import LIGHT_SEEN

SLOW_RIG = QUICK_RIG.replace('recycle = "0.2 s"', 'recycle = "1.5 s"').replace(
    'rest = "0.5 s"', 'rest = "5 s"'
)


def flash_times(log_path: Path) -> list[float]:
    """When each logged shot closed the flash's contact, in s of the simulated rig's time."""
    with ShotLog.open(log_path, read_only=True) as log:
        shots = [log.read_shot(line.shot) for line in log.list_shots(limit=None)]
    return [shot.line.begun_us / 1e6 for shot in shots]


# At ten times the pace of the clock there are seconds left to ask too early in, however slow the machine.
LONG_RIG = QUICK_RIG.replace('recycle = "0.2 s"', 'recycle = "40 s"').replace(
    'rest = "0.5 s"', 'rest = "300 s"'
)


def serve_armed(serve: Serve, rig: str) -> Served:
    served = serve(rig=rig, pace=10.0)
    served.wait(lambda: served.hub.get("link", {}).get("state") == "up" and served.hub.get("plan"))
    do(served, make_arm())
    return served


@pytest.fixture
def bench(serve: Serve) -> Served:
    return serve_armed(serve, SLOW_RIG)


def do(served: Served, job: Any) -> str:
    """Have a job done; return what it says about its failure."""
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


def tell_wait(said: str) -> str:
    """What a refused release waits for: 'rest' or 'recycle'; empty if it was not refused."""
    if not said:
        return ""
    found = re.search(r"\d+\.\d", said)
    assert found is not None, said
    seconds = float(found[0])
    of = {say_left(Left(rest_s=seconds)): "rest", say_left(Left(recycle_s=seconds)): "recycle"}
    assert len(of) == 2
    return of[said]


def test_releases_in_a_row_keep_the_rest_and_no_picture_is_dark(
    bench: Served, log_path: Path
) -> None:
    """With keys pressed as fast as possible, shots keep at least their rest, and each one has its light."""
    end = time.monotonic() + 60.0
    refused = fired = 0
    while refused <= 5 or fired < 3:
        assert time.monotonic() < end, f"{refused} refused, {fired} fired"
        said = do(bench, make_release(1))
        refused += tell_wait(said) == "rest"
        fired += not said
    began = flash_times(log_path)
    assert len(began) == fired
    assert min(b - a for a, b in zip(began, began[1:], strict=False)) >= 5.0
    with ShotLog.open(log_path, read_only=True) as log:
        for line in log.list_shots(limit=None):
            lit = [e for e in log.read_shot(line.shot).record.edges if e.what.startswith("light")]
            assert line.state == "fired" and lit, f"shot {line.shot} is dark"


@pytest.mark.full
def test_the_rest_may_be_left_out_on_purpose_and_recycling_never(
    serve: Serve, log_path: Path
) -> None:
    bench = serve_armed(serve, LONG_RIG)
    assert do(bench, make_release(1)) == ""
    assert tell_wait(do(bench, make_release(1, unrested=True))) == "recycle"
    bench.wait(lambda: (bench.hub.get("resting") or {"recycle_until": 1})["recycle_until"] is None)
    assert do(bench, make_release(1, unrested=True)) == ""
    first, second = flash_times(log_path)
    assert 40.0 <= second - first < 300.0


@pytest.mark.full
def test_a_single_flash_counts_and_a_series_waits_by_itself(serve: Serve, log_path: Path) -> None:
    bench = serve_armed(serve, LONG_RIG.replace("300 s", "45 s"))
    assert do(bench, make_flash(1, "2 ms")) == ""
    assert tell_wait(do(bench, make_release(1))) == "recycle"
    assert do(bench, make_release(2)) == ""
    first, second = flash_times(log_path)
    assert second - first >= 45.0
    assert do(bench, make_flash(1, "2 ms")) == "", "one flash waits until it can"
    assert bench.hub.get("job")["text"] == LIGHT_SEEN


def test_what_is_left_is_the_longer_of_the_two() -> None:
    rig: Rig = parse_rig(tomllib.loads(SLOW_RIG), "test")
    waits = Waits()
    assert waits.find_left(100.0, rig).longest_s == 0.0
    waits.note(100.0)
    left = waits.find_left(101.0, rig)
    assert (left.rest_s, left.recycle_s) == pytest.approx((4.0, 0.5))
    assert left.longest_s == 4.0 and "4.0 s" in say_left(left)
    assert tell_wait(say_left(left)) == "rest"
    waits.note(104.9, shot=False)
    left = waits.find_left(105.0, rig)
    assert (left.rest_s, left.recycle_s) == pytest.approx((0.0, 1.4))
    assert "1.4 s" in say_left(left) and tell_wait(say_left(left)) == "recycle"
    assert waits.find_left(101.0, rig, rest_s=0.0).rest_s == 0.0


def read_wait(page: Any) -> int:
    """How long Release waits by what is written on it, in s."""
    expect(page.locator("#release")).to_contain_text(re.compile(r"Wait \d+ s"))
    found = re.search(r"Wait (\d+) s", page.locator("#release").text_content())
    assert found
    return int(found[1])


def test_release_counts_down_and_its_key_says_why_it_waits(open_ready: OpenReady) -> None:
    rig = SLOW_RIG.replace('rest = "5 s"', 'rest = "60 s"').replace('"1.5 s"', '"10 s"')
    served, page = open_ready(rig=rig, pace=1.0)
    page.keyboard.press("r")
    expect(page.locator(".notice")).to_contain_text("Nothing is armed: press Arm (A) first.")
    page.keyboard.press("a")
    expect(page.locator("#release")).to_be_enabled()
    page.keyboard.press("r")
    served.wait(lambda: served.hub.get("resting"))
    first = read_wait(page)
    assert 40 < first <= 60
    expect(page.locator("#cause")).to_contain_text(
        re.compile(r"Ready again in \d+ s: the surface is settling")
    )
    shots = served.hub.get("shot")["shot"]
    for _ in range(3):
        page.keyboard.press("r")
        page.wait_for_timeout(300)
    expect(page.locator(".notice", has_text="Ready again in")).to_have_count(1)
    expect(page.locator(".notice").last).to_contain_text("Shift+R")
    served.wait(lambda: served.hub.get("resting")["recycle_until"] is None)
    assert served.hub.get("shot")["shot"] == shots, "nothing went out"
    assert read_wait(page) <= first - 2
    wait_on_page(page, "state.resting.recycle_until === null")
    page.keyboard.press("Shift+R")
    served.wait(lambda: served.hub.get("shot")["shot"] == shots + 1)
    served.wait(lambda: served.hub.get("job")["state"] == "ended")
    wait_on_page(page, "state.resting.recycle_until !== null && state.job.state === 'ended'")
    assert read_wait(page) > 40
    page.keyboard.press("Shift+R")
    expect(page.locator(".notice").last).to_contain_text("flash is recycling")
    served.server.desk.edit("aim.rest", "0.5 s")
    served.server.desk.edit("flash[1].recycle", "0.2 s")
    served.wait(lambda: served.hub.get("resting") is None)
    expect(page.locator("#release")).to_contain_text("Release R")


def test_a_tablet_whose_clock_is_wrong_counts_down_all_the_same(
    serve: Serve, open_page: Open
) -> None:
    served = serve(rig=SLOW_RIG.replace('rest = "5 s"', 'rest = "60 s"'), pace=1.0)
    page = open_page("about:blank")
    page.add_init_script("const real = Date.now; Date.now = () => real() - 600000;")
    page.goto(served.link)
    wait_ready(page)
    page.keyboard.press("a")
    expect(page.locator("#release")).to_be_enabled()
    page.keyboard.press("r")
    assert 40 < read_wait(page) <= 60


def test_what_was_changed_since_arming_is_said(open_ready: OpenReady) -> None:
    served, page = open_ready()
    page.keyboard.press("a")
    expect(page.locator("#arm")).to_contain_text("Armed ✓")
    expect(page.locator("#state")).to_have_text("armed")
    page.get_by_role("button", name="Flash delay: 0.5 ms more").click()
    expect(page.locator("#state")).to_have_text("changed")
    expect(page.locator("#cause")).to_contain_text("Changed since arming: press Arm (A) again")
    expect(page.locator("#arm")).not_to_contain_text("✓")
    expect(page.locator("#release")).to_be_disabled()
    page.keyboard.press("r")
    expect(page.locator(".notice")).to_contain_text("Changed since arming: press Arm (A) again")
    assert served.hub.get("shot") is None
    page.keyboard.press("a")
    expect(page.locator("#arm")).to_contain_text("Armed ✓")
    expect(page.locator("#state")).to_have_text("armed")


def test_a_state_that_was_long_on_its_way_makes_no_countdown_longer(
    serve: Serve, open_page: Open
) -> None:
    """The page takes the server's clock from it, and would take it for three seconds too late."""
    served = serve(rig=SLOW_RIG.replace('rest = "5 s"', 'rest = "60 s"'), pace=1.0)
    fresh = served.hub.snapshot

    def aged() -> str:
        state = json.loads(fresh())
        return json.dumps(state | {"now": state["now"] - 3000})

    served.hub.snapshot = aged  # type: ignore[method-assign]
    page = open_page(served.link)
    wait_ready(page)
    arm_and_release(page)
    served.wait(lambda: served.hub.get("resting"))
    assert 40 < read_wait(page) <= 60
