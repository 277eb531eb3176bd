"""Abort is one key away, whatever is running; a board that was unplugged comes back; closing a page changes nothing."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from page_helpers import QUICK_RIG, Open, OpenReady, Serve, arm_and_release, expect, wait_ready

from beamfall.errors import LinkLost, PortNotFound
from beamfall.ports import open_transport
from beamfall.setup.rig import Rig
from beamfall.shots import ShotLog
from beamfall.wire import get_definition

ARMED_FOR_SENSOR = int(get_definition().enum("state")["armed_for_sensor"])


class Plug:
    """A simulated board whose cable can be pulled. Pulling it takes its power: it restarts when it is back."""

    def __init__(self) -> None:
        self.out = threading.Event()
        self.inner: Any = None
        self.restart = False

    def open(self, rig: Rig | None) -> Any:
        self.inner, _ = open_transport("sim", rig, 3)
        return Plugged(self), self.reopen

    def reopen(self) -> Any:
        if self.out.is_set():
            raise PortNotFound("sim: the port is not there")
        if self.restart:
            self.inner.reset_board()
            self.restart = False
        return Plugged(self)

    def pull(self) -> None:
        self.restart = True
        self.out.set()

    def put_in(self) -> None:
        self.out.clear()


class Plugged:
    def __init__(self, plug: Plug) -> None:
        self._plug = plug
        self._gone = False
        self.rig = plug.inner.rig
        self.traits = plug.inner.traits
        self.name = plug.inner.name

    def _check(self) -> None:
        self._gone = self._gone or self._plug.out.is_set()
        if self._gone:
            raise LinkLost(f"{self.name}: the port has vanished")

    def read(self, timeout_s: float) -> bytes:
        self._check()
        data: bytes = self._plug.inner.read(timeout_s)
        return data

    def write(self, data: bytes) -> None:
        self._check()
        self._plug.inner.write(data)

    def clock(self) -> float:
        return float(self._plug.inner.clock())

    def sleep(self, seconds: float) -> None:
        time.sleep(seconds / 30.0)
        self._plug.inner.sleep(seconds)

    def close(self) -> None:
        pass


class Stretch:
    """`sim`, where hardly any time passes after a shot has waited a while for its drop, so that nobody is too slow for
    it."""

    def __init__(self) -> None:
        self.reached = threading.Event()

    def open(self, rig: Rig | None) -> Any:
        inner, reconnect = open_transport("sim", rig, 3)
        read, since_s = inner.read, None

        def read_slowly(timeout_s: float) -> bytes:
            nonlocal since_s
            if inner._board.controller.state == ARMED_FOR_SENSOR:
                since_s = inner.clock() if since_s is None else since_s
                if inner.clock() > since_s + 0.05:  # the shutter is open
                    self.reached.set()
                    time.sleep(0.01)
                    timeout_s = min(timeout_s, 1e-5)
            data: bytes = read(timeout_s)
            return data

        inner.read = read_slowly  # type: ignore[method-assign]
        return inner, reconnect


@pytest.mark.quick
def test_escape_aborts_a_sweep_and_the_log_knows(
    open_ready: OpenReady, log_path: Path, keep_screenshot: Callable[[Any, str], None]
) -> None:
    served, page = open_ready(pace=5.0)
    page.goto(f"{served.origin}/#sweep")
    page.get_by_label("Step").fill("2 ms")
    page.get_by_label("Rounds").fill("20")  # long enough for whoever is slow
    page.get_by_role("button", name="Start the sweep").click()
    served.wait(lambda: (served.hub.get("job") or {}).get("done", 0) >= 2, 40.0)
    expect(page.locator(".sheet li").nth(1)).to_be_visible()
    keep_screenshot(page, "sweep-laptop")
    page.get_by_label("Step").focus()  # typing in a field does not take abort's key away
    page.keyboard.press("Escape")
    served.wait(lambda: served.hub.get("job")["state"] == "aborted")
    expect(page.get_by_text("all outputs are off").first).to_be_visible()
    expect(page.locator("#arm")).to_be_enabled()
    with ShotLog.open(log_path, read_only=True) as log:
        states = [line.state for line in log.list_shots(limit=None)]
    assert "begun" not in states, "no shot is left with its fate unknown"
    fired = states.count("fired")
    # It goes on where it stopped: what fired is not fired again.
    page.get_by_role("button", name="Resume the last sweep").click()
    served.wait(
        lambda: (
            served.hub.get("job")["state"] == "running" and served.hub.get("job")["done"] > fired
        ),
        40.0,
    )
    page.locator("#abort").click()
    served.wait(lambda: served.hub.get("job")["state"] == "aborted")


def test_an_abort_in_the_middle_of_a_shot_puts_its_outputs_off(
    open_ready: OpenReady, log_path: Path
) -> None:
    stretch = Stretch()
    served, page = open_ready(stretch.open)
    arm_and_release(page)
    expect(page.locator("#state")).to_have_text("armed-for-sensor")
    assert stretch.reached.wait(60.0)
    page.keyboard.press("Escape")
    served.wait(lambda: served.hub.get("job")["state"] == "aborted")
    served.wait(lambda: served.hub.get("live")["activity"] == "none")
    with ShotLog.open(log_path, read_only=True) as log:
        logged = log.read_shot(1)
    assert logged.record.cause == "aborted"
    assert not any(edge.what == "flash1" and edge.ticks is not None for edge in logged.record.edges)


def test_keys_that_press_a_focused_abort_button_do_not_release(open_ready: OpenReady) -> None:
    served, page = open_ready()
    for key in ("Enter", " "):
        page.keyboard.press("a")
        expect(page.locator("#release")).to_be_enabled()
        page.locator("#abort").focus()
        page.keyboard.press(key)
        expect(page.locator("#release")).to_be_disabled()  # aborted: nothing is armed any more
        wait_ready(page)
    # And a key that releases nothing while something is being typed.
    page.keyboard.press("a")
    expect(page.locator("#release")).to_be_enabled()
    page.locator("#t-delay").focus()
    page.keyboard.press("r")
    page.wait_for_timeout(300)
    assert served.hub.get("shot") is None


def test_a_board_unplugged_is_named_at_once_and_used_again_when_it_is_back(
    open_ready: OpenReady, keep_screenshot: Callable[[Any, str], None]
) -> None:
    plug = Plug()
    served, page = open_ready(plug.open)
    page.keyboard.press("a")
    expect(page.locator("#release")).to_be_enabled()
    boot = served.hub.get("board")["boot_id"]
    plug.pull()
    expect(page.locator("#state")).to_have_text("board lost")
    expect(page.locator("#linkchip")).to_contain_text("board lost")
    expect(page.locator("#release")).to_be_disabled()
    keep_screenshot(page, "board-lost-laptop")
    plug.put_in()
    served.wait(
        lambda: (served.hub.get("board") or {}).get("boot_id") != boot and served.is_connected,
        40.0,
    )
    wait_ready(page)
    expect(page.locator("#release")).to_be_disabled()  # its table went with its power
    arm_and_release(page)
    expect(page.locator("#state")).to_have_text("fired")


def test_no_board_is_said_with_the_cure_and_found_when_it_comes(
    serve: Serve, open_page: Open
) -> None:
    plug = Plug()
    there = threading.Event()

    def opener(rig: Rig | None) -> Any:
        if not there.is_set():
            raise PortNotFound("no board is connected; plug one in, or use --port sim")
        return plug.open(rig)

    served = serve(opener, rig=QUICK_RIG)
    page = open_page(served.link)
    expect(page.locator("#state")).to_have_text("no board")
    expect(page.locator("#cause")).to_contain_text("plug one in")
    there.set()
    wait_ready(page)


def test_a_server_that_ends_is_said(open_ready: OpenReady) -> None:
    served, page = open_ready(quiet=False)
    served.server.stop()
    expect(page.locator("#state")).to_have_text("no server")
    expect(page.locator("#release")).to_be_disabled()


def test_a_server_that_ends_in_a_shot_puts_the_outputs_off_and_keeps_what_happened(
    open_ready: OpenReady, log_path: Path
) -> None:
    stretch = Stretch()
    served, page = open_ready(stretch.open, quiet=False)
    arm_and_release(page)
    expect(page.locator("#state")).to_have_text("armed-for-sensor")
    assert stretch.reached.wait(60.0)
    served.stop()
    with ShotLog.open(log_path, read_only=True) as log:
        record = log.read_shot(1).record
    assert record.cause == "aborted"
    last = {edge.what: edge.edge for edge in record.edges if edge.ticks is not None}
    assert last["shutter"] == "off"
