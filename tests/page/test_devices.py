"""Two devices at one rig: each sees who acted, the log knows who released, and a phone can install the page."""

from __future__ import annotations

from pathlib import Path

from page_helpers import (
    QUICK_RIG,
    Asker,
    Open,
    OpenReady,
    Serve,
    Served,
    expect,
    wait_on_page,
    wait_ready,
)

from beamfall.page.devices import NAME_MOST, Devices, read_name
from beamfall.page.hub import Hub
from beamfall.shots import ShotLog


def wait_idle(served: Served) -> None:
    served.wait(lambda: served.is_connected)
    served.wait(lambda: (served.hub.get("job") or {}).get("state") != "running")


def test_who_released_is_shown_and_logged(serve: Serve, log_path: Path) -> None:
    served = serve(rig=QUICK_RIG)
    asker = Asker(served)
    wait_idle(served)
    assert asker.ask("POST", "/do/arm", b"{}", Beamfall_Device="phone")[0] == 200
    served.wait(lambda: served.hub.get("armed"))
    wait_idle(served)
    assert asker.ask("POST", "/do/release", b"{}", Beamfall_Device="Zo%C3%AB%20tablet")[0] == 200
    assert served.hub.get("acted")["who"] == "Zoë tablet"
    served.wait(lambda: (served.hub.get("shot") or {}).get("state") == "fired")
    with ShotLog.open(log_path, read_only=True) as log:
        assert log.read_shot(1).record.asked_by == "Zoë tablet"
    assert asker.ask("POST", "/do/abort", b"{}", Beamfall_Device="phone")[0] == 200
    acted = served.hub.get("acted")
    assert acted["who"] == "phone" and "abort" in acted["did"]


def test_a_name_from_outside_is_only_shown() -> None:
    assert read_name("%1B%5B31mred") == "␛[31mred"
    assert read_name("%E2%80%AEphone") == "<U+202E>phone"
    assert len(read_name("x" * 4000)) == NAME_MOST
    assert read_name("%FF") and read_name("") == ""


def test_two_devices_of_one_name_are_two() -> None:
    devices = Devices(hub := Hub())
    devices.rename("", "phone")
    devices.rename("", "phone")
    assert hub.get("devices") == ["phone", "phone"]
    devices.rename("phone", "")
    assert hub.get("devices") == ["phone"]


def test_names_that_nobody_has_any_more_are_forgotten() -> None:
    devices, old = Devices(hub := Hub()), ""
    for number in range(50):
        devices.rename(old, old := f"phone {number}")
    assert hub.get("devices") == ["phone 49"] and len(devices._open) == 1


def test_two_devices_see_what_the_other_does(serve: Serve, open_page: Open) -> None:
    served = serve(rig=QUICK_RIG)
    one, other = open_page(served.link), open_page(served.link)
    wait_ready(one)
    wait_ready(other)
    one.locator("summary", has_text="Series").click()
    one.locator("#device").fill("phone")
    one.locator("#device").press("Tab")
    served.wait(lambda: "phone" in served.hub.get("devices"))
    assert len(served.hub.get("devices")) == 2
    one.locator("#arm").click()
    expect(other.locator("#acted")).to_contain_text("phone armed")
    other.close()
    served.wait(lambda: served.hub.get("devices") == ["phone"])


def test_a_lost_board_is_spoken(open_ready: OpenReady) -> None:
    served, page = open_ready()
    page.evaluate(
        "() => { window.said = []; speechSynthesis.speak = (one) => said.push(one.text); }"
    )
    page.locator("summary", has_text="Series").click()
    page.locator("#voice").click()
    served.hub.tell("link", state="lost")
    wait_on_page(page, "window.said.includes('board lost')")


def test_nothing_keeps_a_browser_from_installing_the_page(serve: Serve, open_page: Open) -> None:
    page = open_page(serve(rig=QUICK_RIG).link)
    wait_ready(page)
    developer = page.context.new_cdp_session(page)
    manifest = developer.send("Page.getAppManifest")
    assert manifest["url"].endswith("/static/page.webmanifest") and manifest["errors"] == []
    found = developer.send("Page.getInstallabilityErrors")["installabilityErrors"]
    assert {one["errorId"] for one in found} <= {"in-incognito"}, found
