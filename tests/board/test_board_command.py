"""`beamfall board test`: our checks from the command line, with reports that a person and a machine can read."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path
from xml.etree import ElementTree

import pytest
from tiers import in_full

OWN = """
def test_it_is_at_rest(board):
    assert board.status().state.name == "idle"

def test_it_burns(board):
    assert board.info.name == "<b>another</b>"
"""


def run(*arguments: str, folder: Path) -> subprocess.CompletedProcess[str]:
    """A process of its own: pytest does not run well inside pytest."""
    command = [sys.executable, "-m", *arguments]
    return subprocess.run(command, cwd=folder, capture_output=True, text=True, timeout=120)


def test_a_board_passes_and_both_reports_say_so(tmp_path: Path) -> None:
    done = run(
        "beamfall", "board", "test", "--port", "sim", "--html", "t.html", "--junit", "t.xml", folder=tmp_path
    )  # fmt: skip
    assert done.returncode == 0, done.stdout + done.stderr
    suite = ElementTree.parse(tmp_path / "t.xml").getroot().find("testsuite")
    assert suite is not None and (suite.get("failures"), suite.get("errors")) == ("0", "0")
    assert int(suite.get("tests", "0")) >= 14
    page = (tmp_path / "t.html").read_text()
    assert page.count('class="passed"') == int(suite.get("tests", "0")) - int(
        suite.get("skipped", "0")
    )
    assert "abort" in page and "test_" not in page, "tests are named in plain words"


@pytest.mark.full
def test_others_test_their_own_board_with_the_plugin_and_a_failure_is_first(tmp_path: Path) -> None:
    (tmp_path / "test_own.py").write_text(OWN)
    plugin = ["-p", "beamfall.board_tools.check_plugin", "-p", "no:cacheprovider"]
    done = run(
        "pytest", "-q", *plugin, "--port", "sim?seed=3", "--board-html", "own.html", "test_own.py", folder=tmp_path
    )  # fmt: skip
    assert done.returncode == 1, done.stdout + done.stderr
    page = (tmp_path / "own.html").read_text()
    assert page.index('class="failed"') < page.index('class="passed"')
    assert "1 failed, 1 passed" in page and "<b>another" not in page


@pytest.mark.parametrize(
    "arguments", [("--double", "Q"), *in_full(("--port", "sim", "--html", "report.pdf"))]
)
def test_what_makes_no_sense_is_refused_before_anything_moves(
    arguments: tuple[str, ...], tmp_path: Path
) -> None:
    done = run("beamfall", "board", "test", *arguments, folder=tmp_path)
    assert done.returncode == 2 and not list(tmp_path.iterdir())
