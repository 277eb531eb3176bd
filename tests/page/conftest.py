"""A real browser on a real page on the simulated rig.

The browser is a Chromium of the system's, driven by Playwright (PyPI); BEAMFALL_CHROMIUM names another
one. In CI a missing browser is a failure, elsewhere a skip by name. Screenshots are kept in
tests/page/screenshots/.
"""

from __future__ import annotations

import os
import shutil
import sys
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

sys.path.insert(0, str(Path(__file__).parent))
from page_helpers import LAPTOP, PATIENT_MS, Served, answers

from beamfall.page.listening import Opener, make_opener
from beamfall.page.serve import PageServer, parse_listen

SCREENSHOTS = Path(__file__).with_name("screenshots")


def find_chromium() -> str | None:
    named = os.environ.get("BEAMFALL_CHROMIUM")
    if named:
        return named
    names = ("chromium", "chromium-browser", "google-chrome", "google-chrome-stable")
    return next((path for path in map(shutil.which, names) if path), None)


@pytest.fixture(
    scope="module"
)  # while it is open an event loop runs in this thread: no longer than needed
def browser() -> Iterator[Any]:
    missing = ""
    chromium = find_chromium()
    if chromium is None:
        missing = "no chromium found: apt-get install chromium, or set BEAMFALL_CHROMIUM"
    try:
        from playwright.sync_api import sync_playwright
    except ImportError:
        missing = "playwright is not installed: pip install 'beamfall[test]'"
    if missing:
        if os.environ.get("CI"):
            pytest.fail(missing)
        pytest.skip(missing)
    with sync_playwright() as playwright:
        opened = playwright.chromium.launch(
            executable_path=chromium,
            args=[
                "--no-sandbox",
                "--disable-gpu",
                "--disable-dev-shm-usage",
                # A name that another site would turn to this computer (DNS rebinding).
                "--host-resolver-rules=MAP rebound.test 127.0.0.1",
            ],
        )
        yield opened
        opened.close()


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
        opener: Opener | None = None, *, rig: str | None = None, pace: float = 30.0, seed: int = 3
    ) -> Served:
        file = None
        if rig is not None:
            file = tmp_path / "rig.toml"
            file.write_text(rig, encoding="utf-8")
        server = PageServer(
            opener or make_opener("sim", seed), rig_file=file, listen=parse_listen("127.0.0.1:0"),
            seed=seed, pace=pace, log_path=log_path,
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
        page.on(
            "console",
            lambda m: self.complaints.append(m.text) if m.type == "error" else None,
        )
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
def keep_screenshot() -> Callable[[Any, str], None]:
    def keep(page: Any, name: str) -> None:
        SCREENSHOTS.mkdir(exist_ok=True)
        page.screenshot(path=SCREENSHOTS / f"{name}.png")

    return keep
