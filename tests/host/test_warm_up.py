"""Drops that fall before a series, so that its first ones are like the others."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from beamfall.cli import main
from beamfall.planning.sweep.progress import list_entries
from beamfall.repeatability.read import read_series
from beamfall.setup.rig import EXAMPLE
from beamfall.shots import ShotLog


@pytest.fixture
def log_file(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    return tmp_path / "shots.sqlite3"


@pytest.fixture
def rig(tmp_path: Path) -> str:
    file = tmp_path / "rig.toml"
    text = EXAMPLE.read_text(encoding="utf-8")
    file.write_text(text.replace("[aim]\n", "[aim]\nwarm_up = 3\n"), encoding="utf-8")
    return str(file)


def test_shoot_lets_the_rigs_warm_up_drops_fall_first(
    rig: str, log_file: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(("shoot", rig, "--port", "sim", "--count", "2", "--json")) == 0
    printed = [json.loads(line) for line in capsys.readouterr().out.splitlines()]
    with ShotLog.open(log_file) as log:
        (series,) = log.list_series()
        first, *others = (log.read_shot(line.shot) for line in log.list_shots(limit=None))
        assert first.record.swept == {"warm_up": 3} and first.line.state == "fired"
        measured = {e.what for e in first.record.edges if e.ticks is not None}
        assert measured == {"valve1", "beam1"}, "no flash, no camera"
        on = [e for e in first.record.edges if (e.what, e.edge) == ("valve1", "on")]
        assert len(on) == 3
        assert [one.line.shot for one in others] == [shot["shot"] for shot in printed]
        assert all(one.record.swept is None for one in others)
        # what is judged and matched leaves them out
        assert read_series(log, series.series).shots == 2
    shown = []
    for shot in ("1", "2"):
        assert main(("shots", "show", shot)) == 0
        shown.append(capsys.readouterr().out)
    assert ["warm-up" in said for said in shown] == [True, False]


def test_they_can_be_left_out(rig: str, log_file: Path) -> None:
    assert main(("shoot", rig, "--port", "sim", "--no-warm-up")) == 0
    with ShotLog.open(log_file) as log:
        assert [log.read_shot(line.shot).record.swept for line in log.list_shots()] == [None]


def test_a_sweeps_frames_are_counted_without_them(rig: str, log_file: Path) -> None:
    """The camera has no picture of them."""
    assert main(
        ("sweep", rig, "--port", "sim", "--from", "180 ms", "--to", "181 ms", "--step", "1 ms")
    ) in (0, 1)  # fmt: skip
    with ShotLog.open(log_file) as log:
        entries = list_entries(log, 1)
        assert log.read_shot(1).record.swept == {"warm_up": 3}
    assert entries[0].shot == 2
    assert [entry.frame for entry in entries] == list(range(1, len(entries) + 1))


def test_pictures_are_not_matched_with_them(rig: str, log_file: Path, tmp_path: Path) -> None:
    from beamfall.cli.photographs import _read_shots

    assert main(("shoot", rig, "--port", "sim", "--count", "3")) == 0
    with ShotLog.open(log_file) as log:
        assert [one.shot for one in _read_shots(log, [])] == [2, 3, 4]
