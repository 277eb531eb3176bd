"""A picture that shows nothing of the timing teaches nothing, and a person's word counts."""

from __future__ import annotations

import json
import threading
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from command_line import run_cli
from tiers import in_full

from beamfall.board import Board
from beamfall.errors import NoProgress
from beamfall.planning.seek.answer import Answer, Shot, read_answer, read_shot, say_useless
from beamfall.planning.seek.search import Search
from beamfall.setup.rig import EXAMPLE, example_rig
from beamfall.shots import ShotLog, ShotRecord
from beamfall.shots.remarks import NO_LIGHT, list_remarks
from beamfall.sim.photographer import SimulatedPhotographer
from beamfall.workflows.series import Shooter
from beamfall.workflows.words import BEGINS_APART


# -- the search -----------------------------------------------------------------------------------------
def test_nothing_is_learned_of_a_black_picture_and_its_shot_is_fired_again() -> None:
    search = Search(example_rig(), seed=1)
    proposal = search.propose()
    before = search.weighted.moments()
    search.take(Shot(proposal.times_s, 0.46, (0.165, 0.27)), read_answer("black"))
    assert np.array_equal(search.weighted.moments()[0], before[0])
    assert search.propose() == proposal and not search.has_learned
    search.stop_if_useless()  # one may be a flash that was asleep
    search.take(Shot(proposal.times_s, 0.46, (0.165, 0.27)), Answer("before"))
    assert search.has_learned
    search.pass_over("dark")
    search.stop_if_useless()
    search.pass_over("dark")
    with pytest.raises(NoProgress) as stopped:
        search.stop_if_useless()
    assert (stopped.value.shots, stopped.value.why, stopped.value.fired) == (2, "dark", True)
    assert search.keep(board="x", port="sim", simulated=True).shots == 1


QUESTION = "What does the picture show?"


def test_a_simulated_photographer_calls_a_black_picture_black() -> None:
    assert SimulatedPhotographer().look(None).word == "black"


def fire(tmp_path: Path, port: str) -> tuple[ShotRecord, Shot]:
    rig = example_rig()
    search = Search(rig, seed=1)
    with (
        ShotLog.open(tmp_path / "log.sqlite3") as log,
        Board.connect(port, rig=rig, seed=1) as board,
    ):
        shooter = Shooter.begin(board, log, "seek", rig=rig)
        record = shooter.fire(search.build(search.propose()))
    shot = read_shot(record, 2, rig.beams[0])
    assert record.state == "fired" and shot is not None
    return record, shot


def test_what_the_board_saw_tells_which_pictures_are_useless(tmp_path: Path) -> None:
    record, shot = fire(tmp_path, "sim")
    assert say_useless(record, shot) is None
    opened = next(e.ticks for e in record.edges if e.what == "valve1" and e.edge == "on")
    assert opened is not None
    # Something crossed the beam before there was a drop: a hand, a fly, a wet lens.
    early = replace(
        next(e for e in record.edges if e.what == "beam1" and e.edge == "dark"), ticks=opened - 1
    )
    odd = replace(record, edges=(early, *record.edges))
    seen = read_shot(odd, 2, example_rig().beams[0])
    assert seen is not None and say_useless(odd, seen) in list_remarks(odd)


def test_no_light_is_told_where_a_sensor_is_fitted(tmp_path: Path) -> None:
    record, shot = fire(tmp_path, "sim?fault=flash-off")
    assert NO_LIGHT in str(say_useless(record, shot))
    assert say_useless(record, shot, sees_light=False) is None


# -- the command -----------------------------------------------------------------------------------------
def seek(*arguments: Any, said: str = "") -> Any:
    done = run_cli("seek", *arguments, typed=said)
    assert "Traceback" not in done.stderr
    return done


def write_rig(tmp_path: Path, **changes: str) -> Path:
    text = EXAMPLE.read_text(encoding="utf-8")
    for old, new in changes.values():
        assert old in text
        text = text.replace(old, new)
    file = tmp_path / "mine.toml"
    file.write_text(text, encoding="utf-8")
    return file


def test_with_the_flash_off_a_search_stops_and_keeps_nothing(tmp_path: Path) -> None:
    rig = write_rig(tmp_path)
    done = seek(rig, "--port", "sim?fault=flash-off", "--shots", "14", "--ask", "--json", said="nothing\n" * 14
    )  # fmt: skip
    assert done.returncode == 1, done.stdout
    shots = [json.loads(line) for line in done.stdout.splitlines()]
    assert [(shot["shot"], shot["answer"]) for shot in shots] == [(1, None), (2, None)]
    assert all(NO_LIGHT in shot["told_nothing"] for shot in shots)
    assert "2 shots" in done.stderr and "beamfall check" in done.stderr
    assert QUESTION not in done.stderr, "nobody is asked what is known"
    assert not (tmp_path / "mine.learned.json").exists()


@pytest.mark.parametrize("word", ["black", *in_full("nothing")])
def test_without_a_sensor_the_persons_word_is_gone_by(tmp_path: Path, word: str) -> None:
    """`nothing`, said of pictures that were black all along, keeps nothing either."""
    rig = write_rig(tmp_path)
    with rig.open("a", encoding="utf-8") as file:
        file.write("\n[fitted]\nflash_seen = false\n")
    done = seek(rig, "--port", "sim?fault=flash-off", "--shots", "4", "--ask", said=f"{word}\n" * 8
    )  # fmt: skip
    assert done.returncode not in (0, 130), done.stdout
    assert done.stdout.count(QUESTION) == (2 if word == "black" else 4)
    assert ("black" in done.stderr) == (word == "black")
    assert not (tmp_path / "mine.learned.json").exists()


def test_found_is_the_persons_to_say() -> None:
    """Whatever the simulated truth is: it is told beside it."""
    done = seek("--port", "sim?seed=6", "--ask", "--json", said="found\n")
    assert done.returncode == 0, done.stderr
    end = json.loads(done.stdout.splitlines()[-1])
    assert (end["found"], end["shots"], end["chance"]) == (True, 1, 1.0)
    (stage_ms,) = end["truth"]["stages_ms"]
    assert end["stage_error_ms"] == pytest.approx(stage_ms - end["wanted_stage_ms"])
    said = seek("--port", "sim?seed=6", "--ask", "--fresh", said="found\n").stdout
    assert f"{abs(end['stage_error_ms']):.2f} ms" in said and "%" not in said.splitlines()[-1]
    assert BEGINS_APART in said


def test_the_picture_that_is_asked_about_does_not_say_the_answer(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    from beamfall.sim import picture

    texts: list[str] = []
    own = threading.current_thread()  # a page of another test may still draw its pictures

    def note(_: object, words: str) -> None:
        if threading.current_thread() is own:
            texts.append(words)

    monkeypatch.setattr(picture, "_write_words", note)
    rig = example_rig()
    with (
        ShotLog.open(tmp_path / "log.sqlite3") as log,
        Board.connect("sim", rig=rig, seed=1) as board,
    ):
        shooter = Shooter.begin(board, log, "seek", rig=rig)
        shooter.fire(Search(rig, seed=1).build(Search(rig, seed=1).propose()))
    taken = shooter.picture
    assert taken is not None and taken.shows is not None
    shows = taken.shows
    taken.draw(tmp_path / "x.png")
    taken.draw(tmp_path / "x.png", tell=False)
    told, silent = texts
    assert shows in told and "contact" in told
    assert shows not in silent and "contact" not in silent and picture.NO_PHOTOGRAPH in silent
