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
from kept_recipes import rewrite

from beamfall.board import Board
from beamfall.board_tools.backup import Backup, pack_backup
from beamfall.fault_report import BUG, describe_fault
from beamfall.page.review import describe_shot, list_lines
from beamfall.planning.collision import plan_collision
from beamfall.plot.draw import draw_chart
from beamfall.plot.plan import describe_plan
from beamfall.recipes.package import write_recipe
from beamfall.recipes.recipe import Events, Home, Label, Looks, Recipe
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
        shooter = Shooter(board, log, log.begin_series("sweep", rig=rig, name=HOSTILE), rig=rig)
        shooter.asked_by = HOSTILE
        for number in range(2):
            swept = {"of": HOSTILE, "step": number, "value_ms": 1.0 + number, "repeat": 1}
            sequence = replace(plan_collision(rig).sequence, name=HOSTILE)
            shot = shooter.fire(sequence, swept=swept).shot
            assert shot is not None
            log.set_note(shot, HOSTILE)
            log.set_keywords(shot, (HOSTILE,))
        settings = {"time_s": 0.5, "mode": HOSTILE, "iso": 100}
        log.add_photograph(shot, f"{FILE_NAME}.png", match={"source": HOSTILE}, exposure=settings)
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
WAYS_IN = (
    "a board's name", "a rig's name", "a rig's note", "a key of a rig file", "a value of a rig file",
    "a quantity of a rig file", "a sequence's name", "a key of a sequence file", "a value of a sequence file",
    "a series' name", "what was swept", "a note", "a picture's file name", "a camera's model in EXIF",
    "a camera's settings", "how a picture arrived", "a keyword", "a device's name",
    "a catalogue's keyword", "a catalogue's description", "a recipe's name", "a recipe's note", "a recipe's board",
    "the rig in a recipe", "a board's backup", "an argument", "a port",
)  # fmt: skip
FILES = {
    "rig.toml": "name = {0}\nnote = {0}\n[site]"
    + EXAMPLE.read_text("utf-8").partition("\n[site]")[2],
    "odd-rig.toml": "name = {0}\n{0} = 1\n[dish]\ndepth = {0}\n{0} = {0}\n[liquid]\nname = {0}\n",
    "sequence.toml": 'name = {0}\n[[row]]\noutput = "valve1"\ndelay = "101 ms"\nwidth = "13 ms"\n',
    "odd-sequence.toml": "name = {0}\n{0} = {0}\n[[row]]\noutput = {0}\ndelay = {0}\n",
    "not.toml": "\x1b]0;gone\x07 \u202e",
}
XMP = """<x:xmpmeta xmlns:x="adobe:ns:meta/"><rdf:RDF xmlns:rdf="http://www.w3.org/1999/02/22-rdf-syntax-ns#">
<rdf:Description rdf:about="" xmlns:dc="http://purl.org/dc/elements/1.1/" xmlns:xmp="http://ns.adobe.com/xap/1.0/">
<xmp:Rating>{0}</xmp:Rating><dc:subject><rdf:Bag><rdf:li>{0}</rdf:li></rdf:Bag></dc:subject>
<dc:description><rdf:Alt><rdf:li xml:lang="x-default">{0}</rdf:li></rdf:Alt></dc:description>
</rdf:Description></rdf:RDF></x:xmpmeta>"""
# XML holds no other control characters.
IN_XML = "=1+1 \u202etxt&lt;script&gt;alert(1)&lt;script&gt;"
RECIPE = "=1+1 <script>alert(1)<script> $\\frac$"  # a name holds nothing that cannot be seen
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
    ("shots", "catalogue", "--series", "1"),
    ("shots", "catalogue", "--series", "1", "--json"),
    ("shots", "match", "card", "--copies", "copies", "--sidecars", "--xmp", "--embed"),
    ("photos", "measure", "card"),
    (
        "recipe",
        "use",
        "odd.recipe.zip",
        "--rig",
        "rig.toml",
        "--keep",
        "--sequence",
        "carried.toml",
    ),
    ("recipe", "use", "damaged.recipe.zip", "--rig", "rig.toml"),
    ("recipe", "list"),
    ("recipe", "show", RECIPE),
    ("recipe", "show", HOSTILE),
    ("recipe", "sheet", RECIPE, "wall.html"),
    ("recipe", "share", RECIPE, "shared.recipe.zip"),
    ("recipe", "shoot", RECIPE, "--as-then", "--port", "sim"),
    ("recipe", "store", RECIPE, "--slot", "1", "--port", "sim"),
    ("board", "restore", "board.zip", "--port", "socket://127.0.0.1:1"),
    ("shoot", "rig.toml", "--port", "sim", "--camera", HOSTILE),
    ("rig", "new", "made.toml", "--accept"),
    ("help", HOSTILE),
)


@pytest.mark.full
def test_no_way_in_reaches_any_way_out_as_more_than_text(place: Path) -> None:
    for name, content in FILES.items():
        (place / name).write_text(content.replace("{0}", json.dumps(HOSTILE)), "utf-8")
    (place / "card" / f"{FILE_NAME}.jpg.xmp").write_text(XMP.replace("{0}", IN_XML), "utf-8")
    _write_recipes(place)
    known = set(place.rglob("*"))
    environment = {**os.environ, "BEAMFALL_LOG": str(place / "log.sqlite3")}
    acting = {}
    for command in WAYS_OUT:
        result = run_cli(*command, folder=place, environment=environment)
        said = result.stdout + result.stderr
        assert result.returncode in (0, 1, 2), (command, said)
        assert BUG not in said, (command, said)
        acting[command] = list_acting(said)
    assert not any(acting.values()), {one: found for one, found in acting.items() if found}
    made = sorted(file for file in set(place.rglob("*")) - known if file.is_file())
    assert {
        "plan.svg",
        "shot.svg",
        "out.csv",
        "out.jsonl",
        "sheet2.html",
        "wall.html",
        "carried.toml",
    } <= {one.name for one in made}
    for file in made:
        assert list_acting(file.name) == []
        if file.suffix in (".svg", ".csv", ".json", ".jsonl", ".html", ".xmp", ".toml"):
            text = file.read_text("utf-8").replace("\r\n", "\n")
            assert list_acting(text) == [], file
            assert "<script>alert" not in text or file.suffix not in (".svg", ".html", ".xmp"), file
    report = describe_fault(ValueError(HOSTILE), ["shoot", HOSTILE])
    assert list_acting(report) == []
    # Each command meets all that came in before; the report and the page in a browser (tests/page) are two more ways.
    print(f"{len(WAYS_IN)} hostile texts x {len(WAYS_OUT) + 2} ways out")


def _write_recipes(place: Path) -> None:
    """A recipe whose every text is hostile, one that is damaged, and a backup of a board."""
    rig = replace(example_rig(), name=HOSTILE, note=HOSTILE)
    recipe = Recipe(
        Label(name=RECIPE, note=HOSTILE, board=HOSTILE.replace("\n", " ")[:80]),
        rig,
        replace(plan_collision(rig).sequence, name=HOSTILE),
        Events(
            kind="collision", drops=2, moment=0.5, moment_low=0.4, moment_high=0.6, stage_s=0.004
        ),
        Looks(drop_m=0.004, speed_mm_s=3000.0),
        home=Home(rig_file=HOSTILE),
    )
    write_recipe(place / "odd.recipe.zip", recipe, shared=False)
    whole = (place / "odd.recipe.zip").read_bytes()
    (place / "damaged.recipe.zip").write_bytes(
        rewrite(whole, {HOSTILE: b"", "rig.toml": HOSTILE.encode()})
    )
    backup = Backup(HOSTILE, {HOSTILE: HOSTILE.encode()})
    (place / "board.zip").write_bytes(pack_backup(backup))


@pytest.mark.full
def test_a_chart_draws_any_name_without_a_word(tmp_path: Path) -> None:
    """Control characters, letters that no font has, and half a formula between dollars."""
    with warnings.catch_warnings(record=True) as said:
        warnings.simplefilter("always")
        for name in (HOSTILE, "$\\frac{1}{$", "\U00013000\u6c34", "a$b$c"):
            rig = replace(example_rig(), name=name)
            draw_chart(describe_plan(plan_collision(rig, traced=True)), tmp_path / "plan.png")
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
