"""A pytest plugin to test boards: `pytest -p beamfall.board_tools.check_plugin --port URL FILE`.

It offers the options `--port`, `--double`, `--bench-report` and `--board-html`, and fixtures for tests of your own
board or port: `board` (connected, at rest before and after), `rig_at_pins`, `bench` and `wires` (a controller and its
bench double). `beamfall board test` runs our own checks with it.
"""

from __future__ import annotations

import os
import time
from collections.abc import Iterator
from pathlib import Path

import pytest

from beamfall.board import Board
from beamfall.board_tools.double import Bench, SelfTest, test_wires
from beamfall.errors import InterpreterMissing
from beamfall.files import write_text
from beamfall.setup.board_profiles import find_profile
from beamfall.text import show_html

DEFAULT_PORTS = ("sim", "sim:micropython")
OUTCOMES = ("failed", "passed", "skipped")


def pytest_addoption(parser: pytest.Parser) -> None:
    """Add this plugin's options."""
    group = parser.getgroup("beamfall")
    group.addoption(
        "--port", action="append", help="port of a board to test (default: simulated boards)"
    )
    group.addoption("--double", help="port of the bench double that is wired to the board")
    group.addoption("--bench-report", help="folder for the figures of a run against a double")
    group.addoption("--board-html", help="write a report as HTML to this file")


def pytest_generate_tests(metafunc: pytest.Metafunc) -> None:
    """Run each test that asks for a port once for each port."""
    if "port" in metafunc.fixturenames:
        metafunc.parametrize("port", metafunc.config.getoption("--port") or DEFAULT_PORTS)


@pytest.fixture
def board(port: str) -> Iterator[Board]:
    """The board at `port`; an abort before and after the test leaves it at rest."""
    try:
        opened = Board.connect(port, seed=7)
    except InterpreterMissing as error:
        pytest.skip(str(error))
    with opened as board:
        board.abort()
        yield board
        board.abort()


@pytest.fixture
def rig_at_pins(board: Board) -> None:
    """Skip if nothing is at the board's pins."""
    if not board.traits.brings_rig and not os.environ.get("BEAMFALL_RIG_AT_PINS"):
        pytest.skip(
            "a real board without a rig: needs drops in the beam; set BEAMFALL_RIG_AT_PINS=1 when a "
            "rig or its double is at the pins"
        )


@pytest.fixture(scope="module")
def bench(request: pytest.FixtureRequest) -> Iterator[Bench]:
    """A controller and its double: real ones at --port and --double, else two simulated ones connected pin to pin."""
    ports = request.config.getoption("--port")
    double = request.config.getoption("--double")
    if double:
        if not ports or len(ports) != 1:
            pytest.fail("--double needs one --port, that of the controller it is wired to")
        bench = Bench.connect(ports[0], double)
    elif ports:
        pytest.skip("needs a bench double: give its port with --double")
    else:
        bench = Bench.simulate(find_profile("pico"), seed=5)
    with bench:
        yield bench


@pytest.fixture(scope="module")
def wires(bench: Bench) -> SelfTest:
    """The wires, tested before anything else; every test on the bench needs them to be right."""
    found = test_wires(bench)
    found.require()
    return found


@pytest.fixture(scope="module")
def report_folder(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Where the figures of a run against a double go."""
    chosen = request.config.getoption("--bench-report")
    if chosen:
        return Path(chosen)
    real = request.config.getoption("--double")
    return Path("bench_report") if real else tmp_path_factory.mktemp("bench")


# -- the report as HTML ----------------------------------------------------------------------------
class HtmlReport:
    """Collects what each check found and writes one page of it."""

    def __init__(self, path: Path, about: str) -> None:
        self._path = path
        self._about = about
        self._rows: list[tuple[str, str, float, str]] = []

    def pytest_runtest_logreport(self, report: pytest.TestReport) -> None:
        """Keep a check's outcome: of its call, or of a failure in its set-up or teardown."""
        if report.when == "call" or report.outcome != "passed":
            why = ""
            if report.skipped and isinstance(report.longrepr, tuple):
                why = str(report.longrepr[2])
            elif report.failed:
                why = str(report.longrepr)
            self._rows.append(
                (report.nodeid.rpartition("::")[2], report.outcome, report.duration, why)
            )

    def pytest_sessionfinish(self) -> None:
        """Write the page."""
        write_text(self._path, self.render())

    def render(self) -> str:
        """Return the page: failures first."""
        counts = {kind: sum(row[1] == kind for row in self._rows) for kind in OUTCOMES}
        rows = sorted(self._rows, key=lambda row: OUTCOMES.index(row[1]))
        lines = [
            f'<tr class="{kind}"><td>{show_html(name.removeprefix("test_").replace("_", " "))}</td><td>{kind}</td>'
            f"<td>{seconds:.2f} s</td><td><pre>{show_html(why)}</pre></td></tr>"
            for name, kind, seconds, why in rows
        ]
        head = ", ".join(f"{counts[kind]} {kind}" for kind in OUTCOMES)
        return (
            '<!doctype html>\n<html lang="en"><meta charset="utf-8"><title>Board test</title>\n<style>'
            "body{font:16px sans-serif;margin:2em}td{padding:.3em .8em;vertical-align:top}"
            ".failed{background:#fdd}.skipped{color:#555}pre{margin:0;white-space:pre-wrap}</style>\n"
            f"<h1>Board test</h1>\n<p>{show_html(self._about)}, {time.strftime('%Y-%m-%d %H:%M')}: {head}</p>\n"
            "<table><tr><th>check</th><th>outcome</th><th>time</th><th>why</th></tr>\n"
            + "\n".join(lines)
            + "\n</table></html>\n"
        )


def pytest_configure(config: pytest.Config) -> None:
    """Start the HTML report, if it is asked for."""
    path = config.getoption("--board-html", default=None)
    if path:
        ports = config.getoption("--port") or DEFAULT_PORTS
        double = config.getoption("--double")
        about = ", ".join(ports) + (f" with the bench double {double}" if double else "")
        config.pluginmanager.register(HtmlReport(Path(path), about), "beamfall-html")
