"""A bug in Beamfall leaves a report that helps a developer and gives nothing private away."""

from __future__ import annotations

from pathlib import Path

import pytest

from beamfall import __version__
from beamfall.board import Board
from beamfall.cli import main


@pytest.fixture
def home(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    home = tmp_path / "home" / "johanna"
    home.mkdir(parents=True)
    monkeypatch.setenv("HOME", str(home))
    monkeypatch.setenv("USERNAME", "johanna")
    monkeypatch.setenv("LOGNAME", "johanna")
    monkeypatch.setenv("BEAMFALL_LOG", str(home / "shots.sqlite3"))
    return home


def test_a_fault_writes_versions_trace_and_frames_and_nothing_private(
    home: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    def fail(*_: object, **__: object) -> None:
        raise RuntimeError(f"deliberate, in {home}/secret.toml")

    monkeypatch.setattr(Board, "wait_for", fail)
    assert main(["shoot", "--port", "sim"]) == 1
    (path,) = home.rglob("fault-*.txt")
    assert str(path) in capsys.readouterr().err, "where the report is"
    text = path.read_text(encoding="utf-8")
    assert f"Beamfall {__version__}" in text
    assert "RuntimeError" in text and "test_fault_report.py" in text
    assert "release session=" in text and "welcome session=" in text, "the last frames"
    assert str(home) not in text
    assert "johanna" not in text


def test_where_no_file_can_be_written_the_error_is_said_all_the_same(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    in_the_way = tmp_path / "a file"
    in_the_way.write_text("", encoding="utf-8")

    def fail(*_: object, **__: object) -> None:
        monkeypatch.setenv("BEAMFALL_LOG", str(in_the_way / "shots.sqlite3"))
        raise ZeroDivisionError("deliberate")

    monkeypatch.setattr(Board, "wait_for", fail)
    assert main(["shoot", "--port", "sim"]) == 1
    assert "ZeroDivisionError" in capsys.readouterr().err


def test_a_mistake_of_the_person_writes_no_report(home: Path) -> None:
    assert main(["shoot", "--port", "sim?nonsense=1"]) == 2
    assert not list(home.rglob("fault-*.txt"))
