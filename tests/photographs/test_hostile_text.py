"""Text from outside that tries to act: on a terminal, in a browser, in a spreadsheet. Everywhere it is only shown."""

from __future__ import annotations

import csv
import io
import json
import os
import unicodedata
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from subprocess import CompletedProcess

import pytest
from command_line import run_cli

from beamfall.board import Board
from beamfall.page.review import describe_shot, list_lines
from beamfall.planning.collision import plan_collision
from beamfall.setup.rig import example_rig
from beamfall.shots import ShotLog
from beamfall.workflows.series import Shooter

HOSTILE = '=HYPERLINK("x")\x1b]0;gone\x07\x1b[31m\u202etxt<script>alert(1)<script>\n=2+3\r-1'
FILE_NAME = HOSTILE.replace("\n", " ")


@pytest.fixture
def place(tmp_path: Path, make_picture: Callable[..., Path]) -> Path:
    """A folder with a log of two shots whose every text is hostile, and their pictures."""
    rig = replace(example_rig(), name=HOSTILE, note=HOSTILE)
    with ShotLog.open(tmp_path / "log.sqlite3") as log, Board.connect("sim", rig=rig) as board:
        board.link.welcome = replace(board.info, name=HOSTILE)  # the board's own words
        shooter = Shooter.begin(board, log, "sweep", rig=rig, name=HOSTILE)
        for number in range(2):
            swept = {"of": HOSTILE, "step": number, "value_ms": 1.0 + number, "repeat": 1}
            shot = shooter.fire(plan_collision(rig).sequence, swept=swept).shot
            assert shot is not None
            log.set_note(shot, HOSTILE)
    picture = make_picture(tmp_path / "card" / f"{FILE_NAME}.jpg", 1e9, model=HOSTILE)
    result = run(tmp_path, "shots", "picture", "1", str(picture))
    assert result.returncode == 0, result.stderr
    assert list_acting(result.stdout) == []
    return tmp_path


def run(place: Path, *arguments: str) -> CompletedProcess[str]:
    return run_cli(
        *arguments, environment={**os.environ, "BEAMFALL_LOG": str(place / "log.sqlite3")}
    )


def list_acting(text: str) -> list[str]:
    """The characters that would move a cursor, ring, colour, reorder or hide text."""
    return [one for one in text if one != "\n" and unicodedata.category(one) in ("Cc", "Cf", "Cs")]


@pytest.mark.parametrize(
    "command", [("shots", "list"), ("shots", "show", "1"), ("shots", "match", "card"), ("shots", "list", "--json"),
                ("shots", "show", "1", "--json"), ("shots", "series")],
    ids=" ".join,
)  # fmt: skip
def test_nothing_acts_on_a_terminal(place: Path, command: tuple[str, ...]) -> None:
    result = run(place, *(str(place / one) if one == "card" else one for one in command))
    assert list_acting(result.stdout + result.stderr) == []


def test_json_keeps_every_text_as_it_is(place: Path) -> None:
    shown = json.loads(run(place, "shots", "show", "1", "--json").stdout)
    assert shown["note"] == HOSTILE
    assert Path(shown["picture"]).name == f"{FILE_NAME}.jpg"


def test_nothing_runs_in_a_spreadsheet(place: Path) -> None:
    result = run(place, "shots", "export", "--out", str(place / "out.csv"))
    assert result.returncode == 0, result.stderr
    files = list(place.glob("out*.csv"))
    assert files
    for file in files:
        written = file.read_bytes().decode("utf-8").replace("\r\n", "\n")
        assert list_acting(written) == []
        cells = [cell for row in csv.reader(io.StringIO(written, newline="")) for cell in row]
        lines = [line.lstrip() for cell in cells for line in cell.split("\n")]
        formulas = [line for line in lines if line[:1] in tuple("=+-@") and not is_number(line)]
        assert formulas == []


def is_number(text: str) -> bool:
    try:
        float(text)
    except ValueError:
        return False
    return True


@pytest.mark.full
def test_nothing_runs_in_a_browser(place: Path) -> None:
    sheet, folder = place / "sheet.html", place / "report"
    for command in (("shots", "sheet", "--out", str(sheet)), ("report", "--out", str(folder))):
        result = run(place, *command)
        assert result.returncode == 0, result.stderr
        assert list_acting(result.stdout + result.stderr) == []
    for page in (sheet, folder / "index.html"):
        text = page.read_text("utf-8")
        assert "<script>alert" not in text and "&lt;script&gt;alert" in text
        assert list_acting(text) == []


def test_the_page_sends_it_as_data(place: Path) -> None:
    with ShotLog.open(place / "log.sqlite3") as log:
        json.loads(json.dumps(list_lines(log)))
        assert describe_shot(log, 1)["line"]["note"] == HOSTILE
