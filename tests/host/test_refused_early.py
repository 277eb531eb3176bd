"""What cannot be done is refused before a drop falls: times, numbers, text and files that make no sense."""

from __future__ import annotations

from pathlib import Path

import pytest

from beamfall.board import Board
from beamfall.cli import main
from beamfall.errors import UserError
from beamfall.setup.rig import example_rig
from beamfall.shots import ShotLog

BIG, MOST = str(2**63), str(2**63 - 1)


@pytest.fixture(autouse=True)
def log_file(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    file = tmp_path / "log" / "shots.sqlite3"
    monkeypatch.setenv("BEAMFALL_LOG", str(file))
    return file


def refuse(capsys: pytest.CaptureFixture[str], *arguments: str) -> str:
    """The one message of a call that is refused as a mistake of the user's."""
    assert main(arguments) == 2
    said = capsys.readouterr().err
    assert "unexpected" not in said and "Traceback" not in said
    return " ".join(said.replace("│", " ").split())  # however wide the terminal is


# firmware/boards/simulated.py: openings up to 200 ms, contacts up to 20 ms, rinsing up to 5 s
@pytest.mark.parametrize(
    ("arguments", "named"),
    [
        (("drip", "--opening", "-1 ms"), ("opening", "-1 ms", "'simulated'")),
        (("drip", "--opening", "0 ms"), ("opening", "0 s")),
        (("drip", "--opening", "201 ms"), ("8 ns", "200 ms")),
        (("rinse", "--yes", "--duration", "1e12 s"), ("1e+12 s",)),
        (("drip", "--opening", "200.001 ms"), ("opening", "200.001 ms")),
        (("rinse", "--yes", "--duration", "-1 s"), ("1 ms", "5 s")),
        (("flash", "--contact", "1e5 s"), ("contact", "1e+05 s")),
        (("flash", "--contact", "21 ms"), ("8 ns", "20 ms")),
        (("sweep", "--rest", "-3 s"), ("--rest", "-3 s", "600 s")),
        (("sweep", "--rest", "1e9 s"), ("--rest", "1e9 s", "600 s")),
        (("sweep", "--step", "1e-320 s"), ("2000",)),
        (("shoot", "--seed", BIG), (BIG,)),
        (("seek", "--seed", BIG), (BIG,)),
        (("sweep", "--seed", BIG), (BIG,)),
        (("drip", "--seed", BIG), (BIG,)),
        (("sweep", "--resume", BIG), (BIG,)),
    ],
)
def test_times_and_numbers(
    arguments: tuple[str, ...],
    named: tuple[str, ...],
    capsys: pytest.CaptureFixture[str],
    log_file: Path,
) -> None:
    said = refuse(capsys, *arguments, "--port", "sim")
    assert all(part in said for part in named), said
    if log_file.exists():
        with ShotLog.open(log_file) as log:
            assert log.list_series() == []


def test_a_seed_in_the_ports_name(capsys: pytest.CaptureFixture[str]) -> None:
    for seed in (BIG, "9" * 5000):
        assert "2^63" in refuse(capsys, "shoot", "--port", f"sim?seed={seed}")
    assert main(("drip", "--port", f"sim?seed={2**63 - 1}")) == 0


@pytest.mark.parametrize("call", ["drip", "test_flash"])
def test_the_library_refuses_them_too(call: str) -> None:
    with Board.connect("sim", rig=example_rig()) as board:
        longest = (board.info.valve_max_us if call == "drip" else board.info.flash_max_us) / 1e6
        for seconds in (-0.001, 0.0, 1e-12, longest * 1.001, 1e300, float("inf"), float("nan")):
            with pytest.raises(UserError, match=r"'simulated'"):
                getattr(board, call)(1, seconds)
        edges = getattr(board, call)(1, longest).edges
        first, last = (edge.ticks for edge in edges if edge.signal.name[:-1] in ("valve", "flash"))
        assert (last - first) / board.info.clock_hz == pytest.approx(longest)
        with pytest.raises(UserError, match="1 ms.* 5 s"):
            board.rinse(1, float("nan"), lambda _: pytest.fail("it has asked"))


@pytest.mark.parametrize(
    ("arguments", "ending"),
    [
        (("shoot", "--plot"), ".pdf"),
        (("shoot", "--picture"), ".png"),
        (("seek", "--picture"), ".png"),
        (("sweep", "--picture"), ".png"),
        (("board", "measure", "--plot"), ".pdf"),
        (("board", "measure", "--out"), ""),
        (("plan", "--plot"), ".pdf"),
        (("shots", "show", "1", "--plot"), ".pdf"),
        (("repeatability", "--plot"), ".pdf"),
    ],
)
def test_files(
    arguments: tuple[str, ...],
    ending: str,
    capsys: pytest.CaptureFixture[str],
    log_file: Path,
    tmp_path: Path,
) -> None:
    def ask(file: Path) -> str:
        port = () if arguments[0] in ("plan", "shots", "repeatability") else ("--port", "sim")
        return refuse(capsys, *arguments, str(file), *port)

    option = arguments[-1]
    (tmp_path / "folder.png").mkdir()
    said = ask(tmp_path / "folder.png")
    assert option in said and str(tmp_path / "folder.png") in said
    said = ask(tmp_path / "nowhere" / "x.png")
    assert option in said and str(tmp_path / "nowhere") in said
    if ending:
        said = ask(tmp_path / "x.doc")
        assert "x.doc" in said and ending in said
    assert not log_file.exists(), "nothing was fired, nothing was begun"


def test_numbers_and_text_that_the_log_cannot_hold(
    capsys: pytest.CaptureFixture[str], log_file: Path
) -> None:
    assert main(("shoot", "--port", "sim")) == 0
    capsys.readouterr()
    assert BIG in refuse(capsys, "shots", "list", "--limit", BIG)
    assert BIG in refuse(capsys, "shots", "show", BIG)
    assert BIG in refuse(capsys, "shots", "note", BIG, "x")
    assert BIG in refuse(capsys, "shots", "repeat", BIG, "--port", "sim")
    for arguments in (("export", "--out", "x.csv", "--shot"), ("match", ".", "--series")):
        assert "2^63" in refuse(capsys, "shots", *arguments, BIG)
    # an argument in another encoding than the terminal's: Python has the byte as half a character
    assert "invalid characters" in refuse(capsys, "shots", "note", "1", "sch\udcf6n")
    with ShotLog.open(log_file) as log:
        assert log.read_shot(1).line.note == ""


def test_a_folder_that_may_not_be_written_to(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    from beamfall.cli import targets

    # root may write everywhere: what the system answers is given here
    monkeypatch.setattr(targets.os, "access", lambda path, mode: False)
    said = refuse(capsys, "shoot", "--port", "sim", "--plot", str(tmp_path / "x.png"))
    assert "--plot" in said and str(tmp_path) in said
