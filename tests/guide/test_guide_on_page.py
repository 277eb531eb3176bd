"""The guided rig on the page: answered question by question, it fills the form and the plan follows."""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any, cast

import pytest
import tomlkit

from beamfall.errors import UserError
from beamfall.page.board_thread import BoardThread
from beamfall.page.commands import list_commands, read_arguments
from beamfall.page.desk import Desk
from beamfall.page.hub import Hub
from beamfall.page.rig_form import describe_form
from beamfall.setup.rig import load_rig


@pytest.fixture
def desk(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Desk]:
    monkeypatch.chdir(tmp_path)
    desk = Desk(Hub(), None)
    yield desk
    desk.close()


def do(desk: Desk, name: str, **body: Any) -> dict[str, Any]:
    command = list_commands(BoardThread(Hub(), desk, cast(Any, None)))[name]
    return command(**read_arguments(name, command, body)) or {}


def ask(desk: Desk, **body: Any) -> dict[str, Any]:
    return do(desk, "guide", **body)


def test_the_guide_ends_with_a_rig_in_the_form(desk: Desk) -> None:
    step = ask(desk)
    asked = 0
    while (question := step["question"]) is not None:
        asked += 1
        assert question["number"] == asked
        text = "55,5 cm" if question["key"] == "valve[1].height" else ""
        step = ask(desk, answers=step["answers"], key=question["key"], text=text)
    assert asked == step["total"]
    do(desk, "guide_done", answers=step["answers"])
    assert desk.rig.valves[0].height_m == 0.555
    assert desk.rig.beams[0].height_m == 0.43  # as suggested for this nozzle
    assert desk.rig_file == Path("my_rig.toml") and load_rig(desk.rig_file) == desk.rig


def finish(desk: Desk) -> None:
    step = ask(desk)
    while (question := step["question"]) is not None:
        step = ask(desk, answers=step["answers"], key=question["key"])
    do(desk, "guide_done", answers=step["answers"])


def test_each_rig_of_the_guide_has_a_file_and_learns_into_one_of_its_own(desk: Desk) -> None:
    files = []
    for _ in range(2):
        finish(desk)
        files.append(str(desk.rig_file))
        assert desk.describe_learned()["file"] == files[-1].replace(".toml", ".learned.json")
    assert files == ["my_rig.toml", "my_rig_2.toml"]


def test_saving_keeps_comments_and_replaces_nothing_that_somebody_else_wrote(desk: Desk) -> None:
    finish(desk)
    assert desk.rig_file is not None
    desk.edit("beam[1].height", "41 cm")
    desk.save()
    text = desk.rig_file.read_text("utf-8")
    assert 'height = "41 cm"' in text and "#" in text
    desk.edit("beam[1].height", "4 xm")
    with pytest.raises(UserError):  # a file that no command could read
        desk.save()
    desk.edit("beam[1].height", "42 cm")
    desk.rig_file.write_text(f"{text}# my note\n", "utf-8")
    with pytest.raises(UserError):
        desk.save()
    assert desk.rig_file.read_text("utf-8").endswith("# my note\n")
    desk.reset()  # reads the file as it is now: from here on it may be replaced
    desk.edit("beam[1].height", "42 cm")
    desk.save()
    saved = desk.rig_file.read_text("utf-8")
    assert saved.endswith("# my note\n") and 'height = "42 cm"' in saved


def test_a_mixture_is_summed_up_in_words() -> None:
    content = tomlkit.parse(
        "liquid.parts = { water = 3, glycerol = 1 }\nliquid.grams = { xanthan = 0.1 }"
    )
    (liquid,) = [one for one in describe_form(content, ()) if one["path"] == "liquid"]
    said = [field["said"] for field in liquid["fields"] if field["said"]]
    assert said == ["3 water to 1 glycerol", "0.1 g xanthan per 100 mL"]


def test_a_wrong_answer_keeps_its_question_and_says_why(desk: Desk) -> None:
    first = ask(desk)["question"]["key"]
    step = ask(desk, key=first, text="mlik")
    assert step["question"]["key"] == first
    assert json.loads(step["answers"]) == {}
    assert "milk" in step["problem"]  # the likely meaning


def test_a_slip_of_the_unit_gets_the_likely_answer(desk: Desk) -> None:
    answers = "{}"
    for slip, likely in (("milk", None), ("20", "20 °C"), ("62", "62 cm"), ("3 cm", "3 mm")):
        key = ask(desk, answers=answers)["question"]["key"]
        step = ask(desk, answers=answers, key=key, text=slip)
        if likely is not None:
            assert list(step["likely"]) == [likely] and key not in step["problem"]
            step = ask(desk, answers=answers, key=key, text=likely)
        answers = step["answers"]
        assert key in json.loads(answers)


def test_back_drops_the_last_answer(desk: Desk) -> None:
    first = ask(desk)["question"]["key"]
    step = ask(desk, key=first, text="milk")
    assert step["question"]["key"] != first
    assert ask(desk, answers=step["answers"], back=True)["question"]["key"] == first


@pytest.mark.parametrize("answers", ["[]", "{", "5", '{"no.such": "1"}', '{"valve[1].height": 3}'])
def test_answers_that_cannot_be_read_are_refused(desk: Desk, answers: str) -> None:
    with pytest.raises(UserError):
        ask(desk, answers=answers)


def test_an_unfinished_guide_changes_no_rig(desk: Desk) -> None:
    before = desk.rig
    with pytest.raises(UserError):
        do(desk, "guide_done", answers='{"valve[1].height": "50 cm"}')
    assert desk.rig == before
