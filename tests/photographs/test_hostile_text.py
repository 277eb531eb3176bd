"""Text from outside that tries to act: on a terminal, in a browser, in a spreadsheet. Everywhere it is only shown."""

from __future__ import annotations

import csv
import io
import json
import os
import unicodedata
import warnings
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from subprocess import CompletedProcess

import pytest
from command_line import run_cli

from beamfall.board import Board
from beamfall.fault_report import describe_fault
from beamfall.page.review import describe_shot, list_lines
from beamfall.planning.collision import plan_collision
from beamfall.plot.plan import draw_plan
from beamfall.setup.rig import EXAMPLE, example_rig
from beamfall.shots import ShotLog
from beamfall.workflows.series import Shooter

HOSTILE = (
    '=HYPERLINK("x")\x1b]0;gone\x07\x1b[31m\u202etxt<script>alert(1)<script>$\\frac$\n=2+3\r-1'
)
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


# -- every way in at every way out -----------------------------------------------------------------------------
# Ways in: board name, rig name and note, series name, what was swept, note, file name, EXIF (all in `place`, and so
# in the log of somebody else); a key, a value and a quantity of a rig file; the same of a sequence file; arguments.
FILES = {
    "rig.toml": "name = {0}\nnote = {0}\n[site]"
    + EXAMPLE.read_text("utf-8").partition("\n[site]")[2],
    "odd-rig.toml": "name = {0}\n{0} = 1\n[dish]\ndepth = {0}\n{0} = {0}\n[liquid]\nname = {0}\n",
    "sequence.toml": 'name = {0}\n[[row]]\noutput = "valve1"\ndelay = "101 ms"\nwidth = "13 ms"\n',
    "odd-sequence.toml": "name = {0}\n{0} = {0}\n[[row]]\noutput = {0}\ndelay = {0}\n",
    "not.toml": "\x1b]0;gone\x07 \u202e",
}
WAYS_OUT: tuple[tuple[str, ...], ...] = (
    ("rig", "check", "rig.toml"),
    ("rig", "check", "odd-rig.toml"),
    ("rig", "check", "not.toml"),
    ("rig", "check", HOSTILE),
    ("plan", "rig.toml", "--plot", "plan.svg"),
    ("plan", "rig.toml", "--json"),
    ("sequence", "check", "sequence.toml", "--port", "sim"),
    ("sequence", "check", "odd-sequence.toml", "--port", "sim"),
    ("shoot", "rig.toml", "--port", "sim", "--no-warm-up"),
    ("shoot", "rig.toml", "--port", "sim", "--no-warm-up", "--json"),
    ("shoot", "--port", HOSTILE),
    ("sweep", "rig.toml", "--port", "sim", "--of", HOSTILE, "--from", "180ms", "--to", "181ms"),
    ("shots", "show", "1", "--plot", "shot.svg"),
    ("shots", "show", "2"),
    ("shots", "list", "--state", HOSTILE),
    ("shots", "note", "2", HOSTILE),
    ("shots", "export", "--out", "out.csv"),
    ("shots", "export", "--out", "out.jsonl"),
    ("shots", "export", "--out", f"nowhere/{FILE_NAME.replace('/', '')}.csv"),
    ("shots", "sheet", "--out", "sheet2.html"),
    ("shots", "match", "card"),
    ("shots", "mend", "--out", "mended.sqlite3"),
    ("repeatability",),
    ("report", "--series", "1", "--out", "report2"),
    ("learned", "show", "rig.toml"),
)


@pytest.mark.full
def test_no_way_in_reaches_any_way_out_as_more_than_text(place: Path) -> None:
    for name, content in FILES.items():
        (place / name).write_text(content.replace("{0}", json.dumps(HOSTILE)), "utf-8")
    known = set(place.rglob("*"))
    environment = {**os.environ, "BEAMFALL_LOG": str(place / "log.sqlite3")}
    acting = {}
    for command in WAYS_OUT:
        result = run_cli(*command, folder=place, environment=environment)
        said = result.stdout + result.stderr
        assert result.returncode in (0, 1, 2), (command, said)
        assert "fault of the program" not in said, (command, said)
        acting[command] = list_acting(said)
    assert not any(acting.values()), {one: found for one, found in acting.items() if found}
    made = sorted(file for file in set(place.rglob("*")) - known if file.is_file())
    assert {"plan.svg", "shot.svg", "out.csv", "out.jsonl", "sheet2.html"} <= {
        one.name for one in made
    }
    for file in made:
        assert list_acting(file.name) == []
        if file.suffix in (".svg", ".csv", ".json", ".jsonl", ".html"):
            text = file.read_text("utf-8").replace("\r\n", "\n")
            assert list_acting(text) == [], file
            assert "<script>alert" not in text or file.suffix not in (".svg", ".html"), file
    report = describe_fault(ValueError(HOSTILE), ["shoot", HOSTILE])
    assert list_acting(report) == []


@pytest.mark.full
def test_a_chart_draws_any_name_without_a_word(tmp_path: Path) -> None:
    """Control characters, letters that no font has, and half a formula between dollars."""
    with warnings.catch_warnings(record=True) as said:
        warnings.simplefilter("always")
        for name in (HOSTILE, "$\\frac{1}{$", "\U00013000\u6c34", "a$b$c"):
            rig = replace(example_rig(), name=name)
            draw_plan(plan_collision(rig, traced=True), tmp_path / "plan.png")
    assert not said


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
