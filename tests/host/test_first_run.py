"""`beamfall` with nothing to do offers what fits: a board, the last evening, a simulated rig, a rig file."""

from __future__ import annotations

from pathlib import Path

import pytest

from beamfall.cli import main, start
from beamfall.cli.start import list_offers
from beamfall.link.port_list import PortSeen
from beamfall.setup.rig import EXAMPLE


@pytest.fixture(autouse=True)
def no_boards(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.setattr(start, "list_ports", lambda: [])
    monkeypatch.setenv("BEAMFALL_LOG", str(tmp_path / "log" / "shots.sqlite3"))


def first_words(folder: Path) -> list[tuple[str, ...]]:
    return [offer.arguments for offer in list_offers(folder)]


def test_an_empty_computer_is_offered_the_simulated_rig_first(tmp_path: Path) -> None:
    offers = first_words(tmp_path)
    assert offers[0][:3] == ("seek", "--port", "sim")
    assert ("rig", "new", "my_rig.toml") in offers


def test_a_rig_file_of_the_folder_is_used(tmp_path: Path) -> None:
    file = tmp_path / "mine.toml"
    file.write_text(EXAMPLE.read_text(encoding="utf-8"), encoding="utf-8")
    (tmp_path / "other.toml").write_text("[tool]", encoding="utf-8")
    (tmp_path / "broken.toml").write_bytes(b"\xff\xfe")
    offers = first_words(tmp_path)
    assert ("rig", "check", str(file)) in offers
    assert offers[0][:2] == ("seek", str(file))


def test_a_connected_board_comes_first(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    board = PortSeen("/dev/ttyACM7", 0x2E8A, 5, "E660")
    monkeypatch.setattr(start, "list_ports", lambda: [board])
    assert first_words(tmp_path)[0] == ("page", "--port", "/dev/ttyACM7")


def test_the_last_evening_is_offered(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["shoot", "--port", "sim", "--json"]) == 0
    assert first_words(tmp_path)[0] == ("shots", "list", "--series", "1")


def test_where_nobody_can_choose_it_only_shows(capsys: pytest.CaptureFixture[str]) -> None:
    assert main([]) == 0
    assert "beamfall seek --port sim" in capsys.readouterr().out
