"""Measured photographs in the words of a search, and a whole search by them."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from beamfall.board import Board
from beamfall.photos.arrival import Arrivals
from beamfall.photos.measure import Measured, Value
from beamfall.photos.sources import OwnCamera
from beamfall.planning.seek.answer import Answer
from beamfall.setup.rig import example_rig
from beamfall.shots import ShotLog, ShotRecord
from beamfall.sim import develop
from beamfall.workflows.picture_reader import MeasuringReader, make_answer
from beamfall.workflows.picture_scene import expect_logged
from beamfall.workflows.run import PythonFrontEnd, run
from beamfall.workflows.seek import seek


def measured(stage: str | None, **values: Any) -> Measured:
    return Measured(Path("picture.jpg"), 1200, 800, 20.0, 0.0, stage, 0.95, {}, **values)


def test_an_umbrella_says_how_old_it_is() -> None:
    seen = make_answer(
        measured("after", since_contact_ms=Value(2.9, 0.3), umbrella_height=Value(24.0, 0.2))
    )
    assert seen == Answer(
        "after",
        pytest.approx(0.024),
        since_s=pytest.approx(2.9e-3),
        since_error_s=pytest.approx(3e-4),
    )


@pytest.mark.parametrize("stage", [None, "nothing"])
def test_what_is_not_sure_is_no_answer(stage: str | None) -> None:
    assert make_answer(measured(stage, jet_height=Value(20.0, 0.2))) is None


def test_a_damaged_photograph_is_not_sure(tmp_path: Path) -> None:
    file = tmp_path / "damaged.jpg"
    file.write_bytes(b"\xff\xd8 no picture \xff\xd9")
    record = ShotRecord(state="fired", clock_hz=1, timing="simulated")
    assert MeasuringReader.make(example_rig()).read(file, {}, record).answer is None


@pytest.mark.full
def test_a_search_whose_pictures_arrive_needs_little_typing(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The person agrees with what was read, and helps only where the reader is not sure."""
    monkeypatch.setattr(develop, "PIXELS", 240)  # or the reader is rarely sure
    rig, typed = example_rig(), []

    def answer(question: Any) -> str:
        if question.otherwise is not None:
            return str(question.otherwise)
        typed.append(question)
        return str((question.fired.record.truth or {})["pictures"][0]["shows"])

    arrivals = Arrivals(OwnCamera(rig), tmp_path / "photos")
    with (
        ShotLog.open(tmp_path / "log.sqlite3") as log,
        arrivals,
        Board.connect("sim", rig=rig, seed=2) as board,
    ):
        arrivals.open()
        reader = MeasuringReader.make(rig)
        steps = seek(rig, board, rig_file=tmp_path / "rig.toml", fresh=True, most=12, reader=reader)
        done = run(steps, board, log, PythonFrontEnd(answer), arrivals=arrivals)
    assert done.search.found and len(typed) < len(done.shots)
    assert done.truth is not None and abs(done.truth.error_s or 1.0) < 1e-3
    for seen, shot in zip(reader._seen, done.shots, strict=True):  # the log said where drop 2 was
        assert seen.expected is not None
        assert seen.expected == expect_logged(rig, shot.fired.record)[-1]
