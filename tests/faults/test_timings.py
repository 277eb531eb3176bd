"""A check looks at the timings that were really fired. As with a real board, only the log says which."""

from __future__ import annotations

import json
import re
import time
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from finding import find_faults
from tiers import in_full

from beamfall.board import Board
from beamfall.cli import main
from beamfall.faults.origin import Origin, Source
from beamfall.faults.setup import Setup, make_setup
from beamfall.faults.timings import RECENT_S, find_timings
from beamfall.setup.rig import Rig, example_rig
from beamfall.setup.sequence import Sequence
from beamfall.shots import ShotLog
from beamfall.sim.build import build_rig
from beamfall.sim.defects import RigInRoom
from beamfall.sim.person import SimulatedPerson
from beamfall.sim.room import Room
from beamfall.workflows.series import Shooter

SETTINGS = ("delay-too-long", "delay-too-short", "window-too-short")


@pytest.fixture
def log_path(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    path = tmp_path / "shots.sqlite3"
    monkeypatch.setenv("BEAMFALL_LOG", str(path))
    return path


@pytest.fixture
def silent_photographer(monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    """What a simulated fault would set is fired by these tests themselves, and told to nobody."""
    monkeypatch.setattr(RigInRoom, "set_by_photographer", lambda _, sequence: sequence)
    yield


def spoil(fault: str, seed: int, planned: Sequence) -> Sequence:
    """What a photographer with that fault in their settings fires; worked out apart from the rig under test."""
    change = build_rig(None, seed, fault).condition.settings
    assert change is not None
    return change(planned)


def fire(sequence: Sequence, rig: Rig, seed: int = 1, kind: str = "shoot") -> None:
    with ShotLog.open() as log, Board.connect("sim", rig=rig, seed=seed) as board:
        shooter = Shooter.begin(board, log, kind, rig=rig, seed=seed)
        shooter.fire(sequence)


def check(capsys: pytest.CaptureFixture[str], seed: int, *more: str) -> dict[str, Any]:
    capsys.readouterr()
    arguments = ["check", "--port", "sim", "--seed", str(seed), "--simulated-person", "--json"]
    assert main([*arguments, *more]) == 0
    found: dict[str, Any] = json.loads(capsys.readouterr().out)
    return found


def outcomes_of(found: dict[str, Any]) -> dict[str, str]:
    return {name: value for test in found["tests"] for name, value in test["outcomes"].items()}


@pytest.mark.usefixtures("log_path", "silent_photographer")
@pytest.mark.parametrize("fault", SETTINGS)
@pytest.mark.parametrize("seed", [1, *in_full(2, 3)])
def test_settings_that_were_fired_are_found_wrong(
    fault: str, seed: int, setup: Setup, capsys: pytest.CaptureFixture[str]
) -> None:
    fire(spoil(fault, seed, setup.sequence), setup.rig, seed)
    found = check(capsys, seed)
    assert found["ranked"][0]["name"] == fault, found["ranked"][:3]
    assert found["timings_from"] == {"source": "shot", "shot": 1}


@pytest.mark.usefixtures("log_path", "silent_photographer")
def test_a_plan_is_not_called_tested_because_it_is_like_itself(
    setup: Setup, capsys: pytest.CaptureFixture[str]
) -> None:
    found = check(capsys, 1)
    assert found["timings_from"] == {"source": "plan"}
    assert not {"setting-delay", "setting-window"} & set(outcomes_of(found))
    ranked = {one["name"] for one in found["ranked"]}
    assert not ranked & set(SETTINGS)
    # Nor where a shot was fired with it.
    fire(setup.sequence, setup.rig)
    found = check(capsys, 1)
    assert found["timings_from"] == {"source": "shot", "shot": 1}
    assert not {"setting-delay", "setting-window"} & set(outcomes_of(found))


@pytest.mark.usefixtures("log_path", "silent_photographer")
def test_the_text_names_the_timings_that_were_checked(
    setup: Setup, capsys: pytest.CaptureFixture[str]
) -> None:
    fire(spoil("delay-too-long", 1, setup.sequence), setup.rig)
    capsys.readouterr()
    assert main(["check", "--port", "sim", "--seed", "1", "--simulated-person"]) == 0
    said = capsys.readouterr().out
    checked = Origin(Source.SHOT, 1).describe()
    assert "shot 1" in checked and "--sequence" in checked
    assert said.count(checked) == 1
    shares = [float(share) for share in re.findall(r"(\d+) %$", said, re.MULTILINE)]
    assert sum(shares) > 100 and said.count("100 %") == shares.count(100) + 1, (
        "said once that they add up to more"
    )


@pytest.mark.usefixtures("silent_photographer")
def test_a_delay_set_in_the_rig_file_is_compared_with_what_the_rig_should_need() -> None:
    """Without any log: the planner keeps such a delay, and says beside it what it would take."""
    rig = example_rig()
    planned = make_setup(rig).sequence.flash_row()
    assert planned is not None
    for by_s, fault in ((0.08, "delay-too-long"), (-0.06, "delay-too-short")):
        setup = make_setup(rig.with_aim(flash_delay_s=planned.delay_s + by_s))
        finding = find_faults(
            lambda setup=setup: Board.connect("sim", rig=setup.rig, seed=1),
            lambda _, setup=setup: setup,
            lambda board, _: SimulatedPerson(Room(board.transport.rig), seed=1),
            bare_setup=lambda setup=setup: setup,
        )
        assert finding.ranked[0][0] == fault, finding.ranked[:3]


# -- which shot ------------------------------------------------------------------------------------------------
def look(rig: Rig, seed: int = 1, now_s: float | None = None) -> Origin | None:
    with Board.connect("sim", rig=rig, seed=seed) as board:
        found = find_timings(board, rig, now_s)
    return None if found is None else found.origin


def shot(number: int) -> Origin:
    return Origin(Source.SHOT, number)


@pytest.mark.usefixtures("log_path")
def test_the_newest_shot_of_this_board_and_rig_counts(setup: Setup) -> None:
    rig, sequence = setup.rig, setup.sequence
    assert look(rig) is None, "there is no log yet"
    fire(sequence, rig)
    fire(sequence.with_flash_delay(0.2), rig)
    assert look(rig) == shot(2)
    other = replace(rig, name="another rig")
    assert look(other) is None
    fire(sequence, other)
    assert look(rig) == shot(2) and look(other) == shot(3)
    assert look(rig, seed=2) is None, "a simulated rig of another seed is another rig"


@pytest.mark.usefixtures("log_path")
def test_searches_warm_ups_and_shots_of_last_week_do_not_count(setup: Setup) -> None:
    from beamfall.planning.rows import build_warm_up

    rig, sequence = setup.rig, setup.sequence
    fire(sequence, rig)
    for kind in ("sweep", "seek"):
        fire(sequence.with_flash_delay(0.2), rig, kind=kind)
    warm_up = build_warm_up(rig, 1)
    assert warm_up is not None
    fire(warm_up, rig)
    assert look(rig) == shot(1)
    assert look(rig, now_s=time.time() + RECENT_S + 60.0) is None


@pytest.mark.usefixtures("log_path")
def test_what_the_board_holds_is_checked_where_no_shot_says(setup: Setup) -> None:
    tuned = setup.sequence.with_flash_delay(0.2)
    with ShotLog.open() as log, Board.connect("sim", seed=1) as board:
        board.upload(tuned)
        assert find_timings(board, setup.rig) is None, "its digest alone says no times"
        log.keep_table(tuned.make_table(board.info))
        found = find_timings(board, setup.rig)
    assert found is not None and found.origin == Origin(Source.BOARD)
    row = found.sequence.flash_row()
    assert row is not None and row.delay_s == pytest.approx(0.2, abs=1e-8)


def test_a_log_that_cannot_be_read_does_not_keep_a_check_from_its_work(
    log_path: Path, setup: Setup
) -> None:
    log_path.write_bytes(b"this is not a database, and long enough to be looked at as one" * 20)
    assert look(setup.rig) is None
