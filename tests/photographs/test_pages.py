"""match, sheet and report as commands, on a simulated series with pictures made for it."""

from __future__ import annotations

import hashlib
import json
import math
import os
import re
import shutil
import subprocess
from collections.abc import Callable
from pathlib import Path

import pytest
from command_line import run_cli
from needs import need_chromium
from two_drops import make_two_drops

from beamfall.board import Board
from beamfall.page.pictures import PictureShelf, find_pictures
from beamfall.page.review import describe_shot_line
from beamfall.setup.rig import example_rig
from beamfall.shots import ShotLog
from beamfall.workflows.series import Shooter

Make = Callable[..., Path]
OFFSET_S = -830_000_000.4  # the camera believes it is the year 2000


@pytest.fixture
def log(fired: Path, tmp_path: Path) -> Path:
    """A log of the test's own, with the 24 shots."""
    return Path(shutil.copy(fired, tmp_path))


@pytest.fixture(scope="module")
def fired(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """24 shots in which the flash's delay is swept."""
    path = tmp_path_factory.mktemp("fired") / "log.sqlite3"
    rig = example_rig()
    with ShotLog.open(path) as log, Board.connect("sim", rig=rig, seed=4) as board:
        shooter = Shooter.begin(board, log, "sweep", rig=rig, seed=4)
        for number in range(24):
            if number:
                shooter.rest(5.0)
            delay_s = 0.17 + 0.001 * number
            sequence = make_two_drops(0.2, delay_s, blanking_s=0.02)
            shooter.fire(
                sequence,
                swept={"of": "flash", "step": number, "value_ms": 1e3 * delay_s, "repeat": 1},
            )
    return path


@pytest.fixture
def pictures(log: Path, tmp_path: Path, make_picture: Make) -> Path:
    """A picture of every shot but two, one frame more, and one broken file."""
    folder = tmp_path / "card"
    with ShotLog.open(log, read_only=True) as opened:
        lines = opened.list_shots(limit=None)
    for line in lines:
        if line.shot not in (5, 17):
            taken = math.floor(line.begun_us / 1e6 + OFFSET_S)
            make_picture(folder / f"DSC{line.shot:05d}.JPG", taken, exposure_s=0.8)
    make_picture(folder / "DSC09000.JPG", lines[-1].begun_us / 1e6 + OFFSET_S + 90.0)
    (folder / "DSC09001.JPG").write_bytes(b"broken")
    return folder


def run(log: Path, *arguments: str) -> subprocess.CompletedProcess[str]:
    return run_cli(*arguments, environment={**os.environ, "BEAMFALL_LOG": str(log)})


def digest(folder: Path) -> dict[str, str]:
    return {
        file.name: hashlib.sha256(file.read_bytes()).hexdigest()
        for file in sorted(folder.iterdir())
    }


def test_match_names_pictures_and_alters_none(log: Path, pictures: Path) -> None:
    before = digest(pictures)
    result = run(log, "shots", "match", str(pictures))
    assert result.returncode == 0, result.stderr
    assert "DSC09001.JPG" in result.stdout
    assert digest(pictures) == before
    with ShotLog.open(log, read_only=True) as opened:
        for shot in range(1, 25):
            logged = opened.read_shot(shot)
            expected = None if shot in (5, 17) else str((pictures / f"DSC{shot:05d}.JPG").resolve())
            assert logged.record.picture == expected
            if expected is not None:
                assert logged.record.picture_match is not None
                assert logged.record.picture_match["offset_s"] == pytest.approx(OFFSET_S, abs=0.6)


def test_a_picture_named_by_hand_stays(log: Path, pictures: Path) -> None:
    hand = pictures / "DSC09000.JPG"
    assert run(log, "shots", "picture", "3", str(hand)).returncode == 0
    assert run(log, "shots", "match", str(pictures)).returncode == 0
    with ShotLog.open(log, read_only=True) as opened:
        assert opened.read_shot(3).record.picture == str(hand.resolve())


def test_looking_only_writes_nothing(log: Path, pictures: Path) -> None:
    result = run(log, "shots", "match", str(pictures), "--no-store", "--json")
    content = json.loads(result.stdout)
    assert len(content["cameras"][0]["pairs"]) == 22 and content["stored"] == 0
    with ShotLog.open(log, read_only=True) as opened:
        assert opened.read_shot(1).record.picture is None


def test_copies_and_sidecars_on_request(log: Path, pictures: Path, tmp_path: Path) -> None:
    copies = tmp_path / "copies"
    result = run(log, "shots", "match", str(pictures), "--copies", str(copies), "--sidecars")
    assert result.returncode == 0, result.stderr
    assert (copies / "shot-000001-DSC00001.JPG").read_bytes() == (
        pictures / "DSC00001.JPG"
    ).read_bytes()
    sidecar = json.loads((pictures / "DSC00001.JPG.shot.json").read_text("utf-8"))
    assert sidecar["record"]["shot"] == 1 and sidecar["swept"]["value_ms"] == pytest.approx(170.0)
    before = digest(copies)
    again = run(log, "shots", "match", str(pictures), "--copies", str(copies))
    assert again.returncode == 2 and digest(copies) == before
    (pictures / "DSC00002.JPG.shot.json").write_text("mine")
    foreign = run(log, "shots", "match", str(pictures), "--sidecars")
    assert foreign.returncode == 2 and "DSC00002.JPG.shot.json" in foreign.stderr
    assert (pictures / "DSC00002.JPG.shot.json").read_text() == "mine"


def test_bad_folders_and_no_log(log: Path, tmp_path: Path) -> None:
    (tmp_path / "empty").mkdir()
    for folder in ("empty", "nowhere"):
        result = run(log, "shots", "match", str(tmp_path / folder))
        assert result.returncode == 2 and folder in result.stderr
    result = run(tmp_path / "none.sqlite3", "shots", "match", str(tmp_path))
    assert (result.returncode, result.stdout) == (2, "")


def test_the_sheet_needs_nothing_else(log: Path, pictures: Path, tmp_path: Path) -> None:
    run(log, "shots", "match", str(pictures))
    run(log, "shots", "note", "7", "<script>alert(1)</script> & more")
    run(log, "shots", "rate", "7", "5")
    out = tmp_path / "sheet.html"
    result = run(log, "shots", "sheet", "--out", str(out))
    said = result.stdout.replace(str(out), "")
    assert result.returncode == 0 and re.findall(r"\d+", said) == ["24", "24"]
    page = out.read_text("utf-8")
    assert page.count("data:image/jpeg;base64,") == 24  # two shots without photograph: simulated
    assert not re.search(r'(?:src|href)="(?!data:)', page) and "http" not in page
    assert "<script>alert" not in page and "&lt;script&gt;" in page
    assert re.findall(r"<article[^>]*is-best[^>]*>.*?<h2>Shot (\d+)", page) == ["7"], (
        "the best rated"
    )
    assert page.count("<article") == 24 and '<option value="flash, ms">' in page


@pytest.mark.full
def test_the_sheet_sorts_by_what_was_swept(log: Path, tmp_path: Path) -> None:
    chromium = need_chromium()
    out = tmp_path / "sheet.html"
    run(log, "shots", "sheet", "--out", str(out))
    page = out.read_text("utf-8").replace(
        "</body>", '<script>document.getElementById("turn").click();</script></body>'
    )
    out.write_text(page, "utf-8")
    shown = subprocess.run(
        [chromium, "--headless", "--no-sandbox", "--disable-gpu", "--dump-dom", out.as_uri()],
        capture_output=True, text=True, timeout=120, check=True,
    ).stdout  # fmt: skip
    assert re.findall(r"<h2>Shot (\d+)</h2>", shown) == [str(n) for n in range(24, 0, -1)]


@pytest.mark.full
def test_the_report_stands_alone(log: Path, pictures: Path, tmp_path: Path) -> None:
    run(log, "shots", "match", str(pictures))
    run(log, "shots", "rate", "9", "4")
    out = tmp_path / "report"
    result = run(log, "report", "--series", "1", "--out", str(out))
    assert result.returncode == 0, result.stderr
    page = (out / "index.html").read_text("utf-8")
    for name in re.findall(r'src="([^"]+)"', page):
        assert (out / name).stat().st_size > 1000, name
    for name in ("timeline.png", "scatter.png", "control.png", "sweep.png", "shot-000009.jpg"):
        assert name in page
    assert re.search(r"<p>24 \D*24 ", page) and "simulated" in page and "<<" not in page
    blocked = tmp_path / "file"
    blocked.write_text("")
    refused = run(log, "report", "--out", str(blocked))
    assert refused.returncode == 2 and str(blocked) in refused.stderr


@pytest.mark.full
def test_sheet_and_report_show_what_the_simulated_camera_saw(log: Path, tmp_path: Path) -> None:
    sheet, folder = tmp_path / "sheet.html", tmp_path / "report"
    assert run(log, "shots", "sheet", "--out", str(sheet)).returncode == 0
    assert sheet.read_text(encoding="utf-8").count('src="data:image/jpeg;base64,') == 24
    assert run(log, "report", "--out", str(folder)).returncode == 0
    assert len(list(folder.glob("shot-*.jpg"))) == 12
    assert not list(tmp_path.glob("*.pictures")), "looking at shots leaves nothing beside the log"


def test_page_shows_the_picture_of_a_shot_fired_at_the_terminal(log: Path) -> None:
    with ShotLog.open(log) as opened:
        assert describe_shot_line(opened, 3)["picture"] == "simulated"
        assert PictureShelf().load(opened, 3, small=True).startswith(b"\xff\xd8")


def test_a_file_whose_name_only_looks_like_a_shots_is_left_alone(tmp_path: Path) -> None:
    folder = tmp_path / "shots.pictures"
    folder.mkdir()
    for name in ("shot-\u00b2.png", "shot-.png", "shot-7.png"):
        (folder / name).write_bytes(b"")
    with ShotLog.open(tmp_path / "shots.sqlite3") as opened:
        assert find_pictures(opened) == {7: "simulated"}


def test_the_small_pictures_kept_for_pages_are_counted(
    log: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("beamfall.page.pictures._KEPT_MOST", 2)
    shelf = PictureShelf()
    with ShotLog.open(log) as opened:
        for shot in (1, 2, 3):
            shelf.load(opened, shot, small=True)
    assert len(shelf._kept) == 2
