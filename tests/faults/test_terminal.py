"""Questions at a terminal: answered, not answerable, and with nobody there any more."""

from __future__ import annotations

import io
import json
import re
import sys
from typing import Any

import pytest
from tiers import in_full

from beamfall.board import Board
from beamfall.cli import main
from beamfall.cli.check import CheckTerminal
from beamfall.faults.catalogue import load_catalogue
from beamfall.faults.checks import CHECKS
from beamfall.faults.fault_rig import FaultRig
from beamfall.faults.finder import UNANSWERED, Finder
from beamfall.faults.questions import CannotTell, PersonGone
from beamfall.faults.setup import Setup
from beamfall.workflows.check import PersonAtRig
from beamfall.workflows.steps import People

ASK = load_catalogue().questions


def type_in(monkeypatch: pytest.MonkeyPatch, *lines: str) -> None:
    monkeypatch.setattr(sys, "stdin", io.StringIO("".join(f"{line}\n" for line in lines)))


def person_at_terminal() -> PersonAtRig:
    return PersonAtRig(People(CheckTerminal()))


@pytest.mark.parametrize("given", ["0", "?", "don't know", "Cannot tell"])
def test_who_cannot_tell_says_so(given: str, monkeypatch: pytest.MonkeyPatch, capsys: Any) -> None:
    type_in(monkeypatch, given)
    with pytest.raises(CannotTell):
        person_at_terminal().answer(ASK["saw-drop"])
    assert re.search(r"^ +0  ", capsys.readouterr().err, re.MULTILINE)


def test_an_answer_is_a_number_a_word_or_its_letter_and_anything_else_is_asked_again(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    for lines, answer in ((("2",), "drips"), (("runs",), "runs"), (("perhaps", "9", "Y"), "yes")):
        type_in(monkeypatch, *lines)
        assert person_at_terminal().answer(ASK["saw-drop"]) == answer


def test_what_cannot_be_told_is_no_evidence_and_not_asked_again(
    setup: Setup, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Neither an answer nor something that could not be done."""
    by_name = {check.name: check for check in CHECKS}
    for name, lines in (("saw-drop", ("", "?")), ("finger", ("0",)), ("cap", ("", "0", ""))):
        type_in(monkeypatch, *lines)
        with Board.connect("sim", seed=1) as board:
            finder = Finder(setup)
            before = finder.belief.rank()
            finder.make(by_name[name], FaultRig(board, setup, person_at_terminal()))
            assert finder.belief.rank() == before
            assert name not in [check.name for check, _ in finder.list_checks()]
            assert board.status().activity.name == "none", "a watch is over, too"
        assert finder.steps[-1].untold
        assert sys.stdin.readline() == "", "also what is to be put back was said"


def test_somebody_who_can_never_tell_gets_what_the_board_knows(
    monkeypatch: pytest.MonkeyPatch, capsys: Any
) -> None:
    type_in(monkeypatch, "", *(["0"] * 60))
    assert main(["check", "--port", "sim?fault=outputs-swapped&seed=1", "--json"]) == 0
    found = json.loads(capsys.readouterr().out)
    assert found["ranked"][0]["name"] == "outputs-swapped"
    type_in(monkeypatch, "", *(["0"] * 60))
    assert main(["check", "--port", "sim?fault=flash-cable&seed=1", "--json"]) == 0
    found = json.loads(capsys.readouterr().out)
    assert not found["settled"] and len(found["remaining"]) >= 2
    assert [test for test in found["tests"] if test.get("untold")]


def test_whoever_waits_is_told_for_what(monkeypatch: pytest.MonkeyPatch, capsys: Any) -> None:
    type_in(monkeypatch, "")
    main(["check", "--port", "sim?fault=outputs-swapped&seed=1"])
    said = capsys.readouterr()
    waits = [line for line in said.err.splitlines() if line.startswith("now: ")]
    assert len(waits) > 3 and "now: " not in said.out
    resting = {f"now: {one.say_what_begins()} ..." for one in CHECKS if one.rests}
    assert resting & set(waits) and not resting & {f"now: {one.what} ..." for one in CHECKS}


def test_the_flash_rests_before_somebody_is_asked_to_be_ready(
    setup: Setup, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Without a sensor it rests for ten times its recycling time: nobody faces the wall for so long."""
    ready: list[float] = []
    with Board.connect("sim", seed=1) as board:
        person = person_at_terminal()
        bench = FaultRig(board, setup, person)
        bench.sees_light = False
        bench.flash()  # it needs its rest now
        clock = board.transport.clock
        monkeypatch.setattr(person, "prepare", lambda question: ready.append(clock()))
        monkeypatch.setattr(person, "answer", lambda question: "yes")
        for name in ("saw-flash", "saw-woken", "shutter"):
            check = next(one for one in CHECKS if one.name == name)
            before = clock()
            Finder(setup).make(check, bench)
            assert ready[-1] - before > 10.0, name
            assert clock() - ready[-1] < 3.0, name


def test_standard_output_is_exactly_the_finding(
    monkeypatch: pytest.MonkeyPatch, capsys: Any
) -> None:
    type_in(monkeypatch, "", *(["", "no"] * 40))
    assert main(["check", "--port", "sim?fault=valve-unplugged", "--json"]) == 0
    out = capsys.readouterr().out
    assert out.startswith("{") and out.endswith("}\n") and out.count("\n") == 1


# -- nobody there any more -------------------------------------------------------------------------------------
def test_nothing_is_fired_before_somebody_agrees(
    monkeypatch: pytest.MonkeyPatch, capsys: Any
) -> None:
    def never(*_: Any, **__: Any) -> Any:
        raise AssertionError("nobody has agreed")

    for name in ("drip", "test_flash", "shoot", "watch"):
        monkeypatch.setattr(Board, name, never)
    type_in(monkeypatch)
    assert main(["check", "--port", "sim", "--json"]) == 1
    found = json.loads(capsys.readouterr().out)
    assert found["ended_early"] and not found["settled"]
    assert [one["test"] for one in found["tests"]] == ["connect"] and found["found"] == []


@pytest.mark.parametrize("answers", [2, *in_full(1, 3)])
def test_an_end_in_the_middle_concludes_with_what_is_known(
    answers: int, monkeypatch: pytest.MonkeyPatch, capsys: Any
) -> None:
    aborted = []
    abort = Board.abort
    monkeypatch.setattr(Board, "abort", lambda self: (aborted.append(1), abort(self))[1])
    type_in(monkeypatch, *([""] * answers))
    assert main(["check", "--port", "sim?fault=beam-misaligned&seed=1", "--json"]) == 1
    found = json.loads(capsys.readouterr().out)
    assert found["ended_early"] and not found["settled"]
    assert found["reason"] == UNANSWERED
    assert len(found["remaining"]) >= 2 and found["would_separate"]
    assert aborted, "the outputs were put off"


def test_what_was_clear_before_the_end_is_said(
    monkeypatch: pytest.MonkeyPatch, capsys: Any
) -> None:
    type_in(monkeypatch, "")
    assert main(["check", "--port", "sim?fault=outputs-swapped&seed=1", "--json"]) in (0, 1)
    found = json.loads(capsys.readouterr().out)
    assert found["found"] == ["outputs-swapped"]


def test_an_end_while_the_board_watches_ends_the_watch(
    setup: Setup, monkeypatch: pytest.MonkeyPatch
) -> None:
    type_in(monkeypatch)
    with Board.connect("sim", seed=1) as board:
        bench = FaultRig(board, setup, person_at_terminal())
        with pytest.raises(PersonGone):
            bench.watch(1.0, bench.have_done(ASK["finger"]))
        assert board.status().activity.name == "none"
