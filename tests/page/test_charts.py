"""The page draws the charts that the library describes: the same bars at the same times as in a file."""

from __future__ import annotations

from typing import Any

import pytest
from page_helpers import OpenReady, Served, arm_and_release, expect, wait_ready

from beamfall.page.review import list_lines
from beamfall.shots import ShotLog


@pytest.fixture
def shown(open_ready: OpenReady) -> tuple[Served, Any]:
    """A page with one shot."""
    served, page = open_ready()
    arm_and_release(page)
    served.wait(lambda: (served.hub.get("shot") or {}).get("shot") == 1)
    wait_ready(page)
    return served, page


def list_bars(page: Any, kind: str) -> list[dict[str, float]]:
    """Bars of the last shot's timeline, in the drawing's units."""
    found: list[dict[str, float]] = page.locator(f".p-time .chart {kind}").evaluate_all(
        "all => all.map((e) => ({ x: e.x.baseVal.value, width: e.width.baseVal.value }))"
    )
    return found


def test_the_timeline_has_the_bars_of_the_data_and_is_looked_at_closely(
    shown: tuple[Served, Any],
) -> None:
    served, page = shown
    panel = served.hub.get("shot")["timeline"]
    measured = [one for one in panel["shapes"] if one["shape"] == "Bar" and not one["planned"]]
    planned = [one for one in panel["shapes"] if one["shape"] == "Bar" and one["planned"]]
    page.get_by_role("button", name="Whole shot").click()  # it opens at the flash
    expect(page.locator(".p-time .chart .measured-bar")).to_have_count(len(measured))
    assert len(list_bars(page, ".planned-bar")) == len(planned) > 3
    # One scale for all: pixels between two bars are in proportion to the time between them.
    bars = list_bars(page, ".measured-bar")
    shutter, flash = (
        next(n for n, one in enumerate(measured) if one["role"] == role)
        for role in ("camera", "flash")
    )
    left, right = panel["views"][0]["x"]
    frame = page.locator(".p-time clipPath rect").evaluate("e => e.width.baseVal.value")
    apart_ms = measured[flash]["start"] - measured[shutter]["start"]
    apart = bars[flash]["x"] - bars[shutter]["x"]
    assert apart == pytest.approx(apart_ms / (right - left) * frame, abs=1.0)
    assert "measured" in page.locator(".p-time .chart .measured-bar title").last.text_content()
    # At the flash its 2 ms are a twentieth of the frame; the valve is out of sight.
    page.get_by_role("button", name="Flash ±20 ms").click()
    near = list_bars(page, ".measured-bar.c-flash")
    assert near[0]["width"] == pytest.approx(frame / 20.0, rel=0.02)
    assert list_bars(page, ".measured-bar.c-valve") == []
    # Keys: closer doubles it, 0 shows everything again.
    page.locator(".p-time .chart").focus()
    page.keyboard.press("+")
    assert list_bars(page, ".measured-bar.c-flash")[0]["width"] == pytest.approx(
        frame / 10, rel=0.02
    )
    page.keyboard.press("0")
    # The wheel with Ctrl scales around the pointer: the flash stays under it.
    where = page.locator(".p-time .chart .measured-bar.c-flash").bounding_box()
    page.mouse.move(where["x"] + 1, where["y"] + where["height"] / 2)
    page.keyboard.down("Control")
    for _ in range(6):
        page.mouse.wheel(0, -100)
        page.wait_for_timeout(50)
    page.keyboard.up("Control")
    closer = page.locator(".p-time .chart .measured-bar.c-flash").bounding_box()
    assert (
        closer["x"] == pytest.approx(where["x"], abs=4.0) and closer["width"] > 1.5 * where["width"]
    )
    page.keyboard.press("0")
    assert len(list_bars(page, ".measured-bar")) == len(measured)


def test_the_next_shot_is_looked_at_as_the_last_one(shown: tuple[Served, Any]) -> None:
    served, page = shown
    page.get_by_role("button", name="Flash ±20 ms").click()
    expect(page.locator("#release")).to_be_enabled()
    page.keyboard.press("r")
    served.wait(lambda: served.hub.get("shot")["shot"] == 2)
    expect(page.locator(".splash-words h3").first).to_contain_text("Shot 2")
    frame = page.locator(".p-time clipPath rect").evaluate("e => e.width.baseVal.value")
    width = list_bars(page, ".measured-bar.c-flash")[0]["width"]
    assert width == pytest.approx(frame / 20.0, rel=0.02)
    expect(page.locator(".p-time .legend")).to_contain_text("1 more shot of series 1")


def test_the_log_is_read_by_name(shown: tuple[Served, Any], log_path: Any) -> None:
    """However the columns are ordered, and with one that the page does not know."""
    served, page = shown
    with ShotLog.open(log_path, read_only=True) as log:
        columns = list_lines(log)["lines"]
    assert columns["shot"] == [1] and columns["state"] == ["fired"]
    turned = {"unknown": [7], **dict(reversed(columns.items()))}
    page.route("**/shots", lambda route: route.fulfill(json={"lines": turned, "log": ""}))
    page.goto(f"{served.origin}/#log")
    row = page.locator(".logrow:visible")
    expect(row).to_have_count(1)
    expect(row.locator(".c-state")).to_contain_text("fired")
    expect(row.locator(".c-delay")).to_contain_text(f"{columns['delay_ms'][0]:.2f}")
    expect(row.locator(".c-spacing")).to_contain_text(f"{columns['spacing_ms'][0]:.2f}")


def test_the_plan_is_drawn_as_in_its_file(shown: tuple[Served, Any]) -> None:
    served, page = shown
    page.goto(f"{served.origin}/#rig")
    names = [one["name"] for one in served.hub.get("plan")["chart"]["shapes"] if one.get("name")]
    assert "drop 2, lowest point" in names
    legend = page.locator(".planchart .legend")
    for name in names:
        expect(legend).to_contain_text(name)
    for role in ("drop1", "drop2", "jet", "beam", "flash", "water"):
        expect(page.locator(f".planchart .chart .c-{role}").first).to_be_attached()
    page.get_by_role("button", name="The last centimetres").click()
    near = served.hub.get("plan")["chart"]["views"][1]["x"]
    shown_ms = page.locator(".planchart .chart .ticktext").evaluate_all(
        "all => all.map((e) => Number(e.textContent)).filter((n) => n > 200)"
    )
    assert shown_ms and all(near[0] <= one <= near[1] for one in shown_ms)
