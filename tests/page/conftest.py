"""A real browser on a real page on the simulated rig.

The browser is a Chromium of the system's, driven by Playwright (PyPI); BEAMFALL_CHROMIUM names another
one. Without a browser, these tests are skipped. Screenshots are kept in tests/page/screenshots/.
"""

from __future__ import annotations

import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from needs import need_chromium
from spared_work import nothing_left_to_draw, plans_made_once  # noqa: F401

sys.path.insert(0, str(Path(__file__).parent))
from page_helpers import (
    LAPTOP,
    PATIENT_MS,
    QUICK_RIG,
    Open,
    OpenReady,
    Serve,
    Served,
    answers,
    wait_ready,
)

from beamfall.page.listening import Opener, make_opener
from beamfall.page.serve import PageServer, parse_listen

CHROMIUM_OPTIONS = (
    "--headless",
    "--no-sandbox",
    "--disable-gpu",
    "--disable-dev-shm-usage",
    # A name that another site would turn to this computer (DNS rebinding).
    "--host-resolver-rules=MAP rebound.test 127.0.0.1",
    # The same colours and sizes everywhere, and pages that run at full pace although nobody looks at them.
    "--force-color-profile=srgb",
    "--hide-scrollbars",
    "--disable-background-timer-throttling",
    "--disable-backgrounding-occluded-windows",
    "--disable-renderer-backgrounding",
    # Nothing is asked of the person, and nothing of the network.
    "--mute-audio",
    "--no-first-run",
    "--no-default-browser-check",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-extensions",
    "--disable-sync",
    "--password-store=basic",
)
SCREENSHOTS = Path(__file__).with_name("screenshots")


@pytest.fixture(scope="session")
def chromium(tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    """The address of one Chromium for all tests, which is told what to do by the DevTools protocol."""
    program = need_chromium()
    profile = tmp_path_factory.mktemp("chromium")
    process = subprocess.Popen(
        [program, *CHROMIUM_OPTIONS, f"--user-data-dir={profile}", "--remote-debugging-port=0"],
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
    )
    try:
        yield f"http://127.0.0.1:{_read_port(profile / 'DevToolsActivePort', process)}"
    finally:
        process.terminate()
        process.wait(30.0)


@pytest.fixture(scope="package")  # until then Playwright's event loop runs in this thread
def browser(chromium: str) -> Iterator[Any]:
    from playwright.sync_api import sync_playwright

    with sync_playwright() as playwright:
        connected = playwright.chromium.connect_over_cdp(chromium)
        yield connected
        connected.close()


def _read_port(file: Path, process: subprocess.Popen[bytes]) -> int:
    """The port that Chromium has chosen: the first line of a file that it writes when it listens."""
    end = time.monotonic() + 60.0
    while time.monotonic() < end:
        assert process.poll() is None, f"Chromium ended at its start: {process.args}"
        lines = file.read_text().splitlines() if file.exists() else []
        if len(lines) == 2:
            return int(lines[0])
        time.sleep(0.05)
    raise AssertionError("Chromium did not begin to listen")


@pytest.fixture
def log_path(tmp_path: Path) -> Path:
    return tmp_path / "log" / "shots.sqlite3"


@pytest.fixture
def serve(
    tmp_path: Path, log_path: Path, monkeypatch: pytest.MonkeyPatch
) -> Iterator[Callable[..., Served]]:
    """Serve a page; the log and what is learned go to a folder of the test's."""
    monkeypatch.setenv("BEAMFALL_LOG", str(log_path))
    running: list[Served] = []

    def begin(
        opener: Opener | None = None,
        *,
        rig: str | None = None,
        pace: float = 30.0,
        seed: int = 3,
        tls: bool = False,
    ) -> Served:
        file = None
        if rig is not None:
            file = tmp_path / "rig.toml"
            file.write_text(rig, encoding="utf-8")
        server = PageServer(
            opener or make_opener("sim", seed), rig_file=file, listen=parse_listen("127.0.0.1:0"),
            seed=seed, pace=pace, log_path=log_path, tls=tls,
        )  # fmt: skip
        served = Served(server)
        running.append(served)
        served.wait(lambda: answers(served.origin))
        return served

    yield begin
    for served in running:
        served.stop()


class Watched:
    """A browser page, with what it complained about."""

    def __init__(self, page: Any) -> None:
        self.page = page
        self.complaints: list[str] = []
        page.on("console", lambda m: self.complaints.append(m.text) if m.type == "error" else None)
        page.on("pageerror", lambda error: self.complaints.append(str(error)))


@pytest.fixture
def open_page(browser: Any) -> Iterator[Callable[..., Any]]:
    """Open a page of its own browser context; at the end nothing may have gone wrong in it."""
    contexts: list[Any] = []
    watched: list[Watched] = []

    def begin(
        url: str,
        *,
        size: dict[str, int] = LAPTOP,
        quiet: bool = True,
        context: Any = None,
        **options: Any,
    ) -> Any:
        if context is None:
            context = browser.new_context(viewport=size, **options)
            contexts.append(context)
        page = context.new_page()
        page.set_default_timeout(PATIENT_MS)
        if quiet:
            watched.append(Watched(page))
        page.goto(url)
        return page

    yield begin
    complaints = [text for one in watched for text in one.complaints]
    for context in contexts:
        context.close()
    assert complaints == []


@pytest.fixture
def open_ready(serve: Serve, open_page: Open) -> OpenReady:
    """Serve a rig and open its page, with the plan made: takes the options of both."""

    def begin(
        opener: Opener | None = None, *, rig: str = QUICK_RIG, pace: float = 30.0, **options: Any
    ) -> tuple[Served, Any]:
        served = serve(opener, rig=rig, pace=pace)
        page = open_page(served.link, **options)
        wait_ready(page)
        return served, page

    return begin


@pytest.fixture
def keep_screenshot() -> Callable[[Any, str], None]:
    def keep(page: Any, name: str) -> None:
        SCREENSHOTS.mkdir(exist_ok=True)
        page.screenshot(path=SCREENSHOTS / f"{name}.png")

    return keep
