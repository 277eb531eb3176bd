"""`beamfall seek` at the command line."""

from __future__ import annotations

import json
import os
import re
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest
from command_line import run_cli

from beamfall.cli.seek_front import SeekTerminal
from beamfall.planning.seek.answer import Answer
from beamfall.setup.rig import EXAMPLE
from beamfall.shots import ShotLog
from beamfall.workflows.seek_steps import Aim, Answered, LookedAgain
from beamfall.workflows.words import MISFIT


@pytest.fixture
def environment(tmp_path: Path) -> dict[str, str]:
    return dict(os.environ, BEAMFALL_LOG=str(tmp_path / "shots.sqlite3"))


def run(environment, *arguments: str, status: int | None = 0) -> str:
    done = run_cli(*arguments, environment=environment)
    assert status is None or done.returncode == status, done.stdout + done.stderr
    assert "Traceback" not in done.stderr
    return done.stdout if status in (None, 0) else done.stderr


@pytest.mark.full
def test_seek_with_a_simulated_port_answers_for_itself(environment, tmp_path) -> None:
    sheet = tmp_path / "sheet.png"
    lines = run(
        environment, "seek", "--port", "sim?seed=6", "--json", "--picture", str(sheet)
    ).splitlines()
    *told, last = [json.loads(line) for line in lines]
    shots = [one for one in told if not one["second_look"]]
    assert last["shots"] == len(shots) and last["found"] is True
    assert abs(last["stage_error_ms"]) <= 1.0
    # like a person, it says how early or late a picture is
    assert any(one["age"] in ("just before", "just after") for one in shots)
    truth = last["truth"]["stages_ms"]
    best = [one["shot"] for one in shots].index(last["shot"])
    assert last["stage_error_ms"] == pytest.approx(truth[best] - last["wanted_stage_ms"], abs=1e-3)
    assert sheet.read_bytes().startswith(b"\x89PNG")
    # the plan uses it, for this rig; another simulated rig's search starts from nothing
    learned = json.loads(run(environment, "plan", "--json"))
    fresh = json.loads(run(environment, "plan", "--json", "--fresh"))
    (used,) = set(learned["assumptions"]) - set(fresh["assumptions"])
    assert re.search(r"\b\d+ shots\b.*sim", used), "the plan names what it has learned from"
    width = [p["flash_delay"]["p95"] - p["flash_delay"]["p5"] for p in (learned, fresh)]
    assert width[0] < 0.7 * width[1]
    first = json.loads(
        run(
            environment, "seek", "--port", "sim?seed=9", "--json", "--shots", "1", status=None
        ).splitlines()[0]
    )
    alone = dict(environment, BEAMFALL_LOG=str(tmp_path / "other" / "log.sqlite3"))
    same = json.loads(
        run(
            alone, "seek", "--port", "sim?seed=9", "--json", "--shots", "1", status=None
        ).splitlines()[0]
    )
    assert first["flash_delay_ms"] == same["flash_delay_ms"]


@pytest.mark.full
def test_a_person_answers_at_the_keyboard(environment, tmp_path) -> None:
    picture = tmp_path / "shot.png"
    done = run_cli(
        "seek", "--port", "sim?seed=6", "--ask", "--picture", picture, environment=environment,
        typed="splash\nafter\nbefore jet 25 mm drop 200 mm\n\nfound\n",
    )  # fmt: skip
    assert "'splash'" in done.stdout
    assert len(re.findall(r"What .*\?", done.stdout)) == 4
    assert re.findall(r"'before[^']*'", done.stdout), "a height that nobody sees is asked again"
    assert re.search(r"\b3 shots", done.stdout)
    assert picture.is_file()
    # with nobody at the keyboard it ends, outputs off, like any interruption
    alone = run_cli("seek", "--port", "sim?seed=6", "--ask", environment=environment)
    assert alone.returncode == 130 and "Traceback" not in alone.stderr


def test_what_is_learned_lies_beside_the_rig_file(environment, tmp_path) -> None:
    rig = tmp_path / "mine.toml"
    rig.write_text(EXAMPLE.read_text(encoding="utf-8"), encoding="utf-8")
    run(environment, "seek", str(rig), "--port", "sim?seed=6", status=None)
    assert (tmp_path / "mine.learned.json").is_file()


def test_a_stage_that_makes_no_sense_is_refused(environment) -> None:
    assert "--stage" in run(environment, "seek", "--port", "sim", "--stage", "5", status=2)
    said = run(environment, "seek", "--port", "sim", "--stage", "3 s", status=2)
    assert "-50 ms" in said and "200 ms" in said


@pytest.mark.parametrize(
    ("aim", "words"),
    [
        ('spacing = "1.5 s"', "aim.spacing = 1500 ms: drop 2 would miss the jet"),
        ('spacing = "5 ms"', "aim.spacing = 5 ms: drop 2 would miss the jet"),
        ('anchor = "beam1"\nanchor_count = 1', "aim.anchor_count = 1"),
        ('flash_delay = "20 ms"', "aim.flash_delay = 20 ms"),
    ],
)
def test_an_aim_that_a_search_cannot_keep_is_refused_before_anything_falls(
    aim, words, environment, tmp_path
) -> None:
    rig = tmp_path / "mine.toml"
    text = EXAMPLE.read_text(encoding="utf-8").replace("drops = 2\n", "")
    assert "[aim]\n" in text
    rig.write_text(text.replace("[aim]\n", f"[aim]\n{aim}\n"), encoding="utf-8")
    said = run(environment, "seek", str(rig), "--port", "sim", status=2)
    assert words in said and "unexpected" not in said
    with ShotLog.open(environment["BEAMFALL_LOG"]) as log:
        assert log.list_series() == []


def test_the_terminal_says_once_that_answers_do_not_fit(capsys) -> None:
    terminal = SeekTerminal(None, as_json=False)
    aim, answer = Aim(1, 20, (0.0, 0.1), 0.18, True), Answer("before")
    for shot, misfit in ((1, False), (2, True), (3, True)):
        fired: Any = SimpleNamespace(shot=shot)
        one = Answered(aim, fired, answer, None, 0.1, misfit)
        terminal.show(one)
        terminal.show(LookedAgain(one, answer))
    lines = capsys.readouterr().out.splitlines()
    assert lines.count(MISFIT) == 1
    assert lines.index(MISFIT) == 3  # after shot 1, its second look, and shot 2
