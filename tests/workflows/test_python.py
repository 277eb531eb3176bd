"""Workflows from plain Python: the example, and what a script has to know."""

from __future__ import annotations

import runpy
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

import beamfall
from beamfall.board import Board
from beamfall.errors import UserError
from beamfall.setup.rig import load_rig
from beamfall.shots import ShotLog
from beamfall.workflows.run import PythonFrontEnd, run
from beamfall.workflows.seek import seek
from beamfall.workflows.shoot import shoot
from beamfall.workflows.steps import Fired, FlashesAhead

EXAMPLE = Path(beamfall.__file__).parent / "examples" / "seek_in_python.py"


def test_the_example_finds_the_collision(use_log: Any, capsys: Any) -> None:
    path = use_log("log")
    done = runpy.run_path(str(EXAMPLE))["done"]
    assert done.search.found and 1 <= len(done.shots) <= 12
    assert done.truth is not None and abs(done.truth.error_s) < 0.002
    assert capsys.readouterr().out.count("shot ") == len(done.shots)
    with ShotLog.open(path, read_only=True) as log:
        notes = [line.note for line in log.list_shots(limit=None)]
    assert len(notes) == len(done.shots) and all(note.startswith("seek: ") for note in notes)


@pytest.fixture
def bench(use_log: Any, rig_file: Path) -> Iterator[tuple[Board, ShotLog]]:
    use_log("log")
    with ShotLog.open() as log, Board.connect("sim", rig=load_rig(rig_file), seed=1) as board:
        yield board, log


def test_whoever_cannot_answer_is_told_so(bench: tuple[Board, ShotLog], rig_file: Path) -> None:
    board, log = bench
    rig = load_rig(rig_file)
    with pytest.raises(UserError, match="WhatIsSeen"):
        run(seek(rig, board, fresh=True), board, log)
    with pytest.raises(UserError, match="'nonsense'"):
        run(seek(rig, board, fresh=True), board, log, PythonFrontEnd(lambda question: "nonsense"))


def test_cautions_come_before_the_first_flash(bench: tuple[Board, ShotLog], rig_file: Path) -> None:
    from beamfall.planning.make import make_plan

    board, log = bench
    rig = load_rig(rig_file)
    shown: list[Any] = []
    front_end = PythonFrontEnd(show=shown.append)
    run(shoot(rig, make_plan(rig).sequence, 2), board, log, front_end)
    kinds = [type(event) for event in shown]
    assert kinds.count(FlashesAhead) == 1 and kinds.count(Fired) == 3, "warm-up and two shots"
    assert kinds.index(FlashesAhead) < kinds.index(Fired)


def test_a_shot_waits_until_the_flash_has_recycled(
    bench: tuple[Board, ShotLog], rig_file: Path
) -> None:
    """The rig file's rest is shorter than the flash takes: the longer one counts."""
    from beamfall.planning.make import make_plan

    text = rig_file.read_text(encoding="utf-8").replace('recycle = "0.2 s"', 'recycle = "9 s"')
    rig_file.write_text(text, encoding="utf-8")
    board, log = bench
    rig = load_rig(rig_file)
    run(shoot(rig, make_plan(rig).sequence, 2, warm_up=False), board, log)
    begun = [line.begun_us / 1e6 for line in log.list_shots(limit=None)]
    assert max(begun) - min(begun) > 9.0
