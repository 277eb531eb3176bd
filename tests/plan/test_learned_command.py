"""`beamfall learned`: a find survives a search that was stopped, and a person can see, undo and reset it."""

from __future__ import annotations

import json
import os
from pathlib import Path
from typing import Any

import pytest
from command_line import run_cli

from beamfall.planning.belief import Belief
from beamfall.planning.learned import find_file, load_learned
from beamfall.setup.rig import EXAMPLE

PORT = "sim?seed=4"


@pytest.fixture
def rig(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A rig file, with a log of its own."""
    file = tmp_path / "rig.toml"
    file.write_text(EXAMPLE.read_text(encoding="utf-8").replace('rest = "5 s"', 'rest = "0 s"'))
    return file


def beamfall(*arguments: object, typed: str = "", status: int = 0) -> str:
    done = run_cli(*arguments, environment=os.environ, typed=typed)
    assert done.returncode == status, done.stdout + done.stderr
    return done.stdout


def plan(rig: Path) -> dict[str, Any]:
    planned: dict[str, Any] = json.loads(beamfall("plan", rig, "--json"))["planned"]
    return planned


def steps(rig: Path) -> list[dict[str, Any]]:
    return [json.loads(line) for line in beamfall("learned", "show", rig, "--json").splitlines()]


def known(rig: Path) -> Belief:
    belief = load_learned(find_file(rig))
    assert belief is not None
    return belief


@pytest.mark.full
def test_a_find_survives_what_comes_after_it(rig: Path) -> None:
    """Review, section 3, 1 and 2: a stopped search replaced a find, and calibrating moved the flash by 6 ms."""
    alone = plan(rig)
    beamfall("seek", rig, "--port", PORT, "--ask", typed="after\nafter\nfound\n")
    found = plan(rig)
    # Somebody begins again from nothing, answers once and stops.
    beamfall("seek", rig, "--port", PORT, "--fresh", "--ask", typed="after\n", status=130)
    assert plan(rig) == found
    assert [line["used"] for line in steps(rig)] == [False, True, False]

    beamfall("calibrate", rig, "--port", PORT, "--count", 10)
    both = plan(rig)
    assert both["spacing"] == found["spacing"]
    assert abs(both["flash_delay"] - found["flash_delay"]) < 0.5
    assert [line["used"] for line in steps(rig)] == [False, True, False, True]

    beamfall("learned", "undo", rig)
    assert plan(rig) == found
    beamfall("learned", "redo", rig)
    assert plan(rig) == both
    beamfall("learned", "reset", rig)
    assert plan(rig) == alone
    assert len(known(rig).steps) == 4
    beamfall("learned", "undo", rig)
    assert plan(rig) == both


def test_what_cannot_be_undone_is_a_mistake_of_whoever_asks(rig: Path) -> None:
    assert [(line["step"], line["used"]) for line in steps(rig)] == [(0, True)], (
        "the rig file alone"
    )
    beamfall("learned", "undo", rig, status=2)
    beamfall("learned", "show", rig.with_name("none.toml"), status=2)
