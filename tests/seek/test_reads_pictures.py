"""A search whose photographs are read: what was read is agreed to, or corrected by a word or a mark."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any

import pytest

from beamfall.board import Board
from beamfall.errors import UserError
from beamfall.photos.arrival import Arrivals
from beamfall.photos.watched_folder import WatchedFolder
from beamfall.planning.seek.answer import Answer
from beamfall.setup.rig import example_rig
from beamfall.shots import ShotLog, ShotRecord
from beamfall.workflows.reading import Reading, read_marks
from beamfall.workflows.run import PythonFrontEnd, run
from beamfall.workflows.seek import seek
from beamfall.workflows.seek_steps import Aim, Marked, PictureRead, WhatIsSeen
from beamfall.workflows.steps import AwaitingPicture

HERE = Path("picture.jpg")


def ask(reading: Reading | None) -> WhatIsSeen:
    nothing: Any = None
    aim = Aim(1, 20, (0.0, 0.1), 0.2, by_beam=True)
    return WhatIsSeen(aim, nothing, reading)


def test_enter_agrees_and_a_word_corrects() -> None:
    read = Answer("before", since_s=-1e-3, since_error_s=1e-4)
    question = ask(Reading(HERE, read, "before"))
    assert question.read("") is read and question.otherwise == ""
    corrected = question.read("after")
    assert isinstance(corrected, Answer)
    assert corrected.word == "after" and corrected.since_s is None


def test_nobody_agrees_to_what_was_not_read() -> None:
    for question in (ask(None), ask(Reading(HERE, None, "not sure"))):
        assert question.otherwise is None
        with pytest.raises(UserError):
            question.read("")


def test_a_mark_is_no_answer_yet() -> None:
    question = ask(Reading(HERE, Answer("before"), "before"))
    assert question.read("tip 512") == Marked({"tip": 512.0})
    with pytest.raises(UserError):
        ask(None).read("tip 512")  # there is no photograph to read again


@pytest.mark.parametrize(
    ("text", "marks"),
    [
        ("tip 512", {"tip": 512.0}),
        ("left=310 right=450.5", {"left": 310.0, "right": 450.5}),
        ("before drop 42 mm", {}),
        ("after", {}),
        ("", {}),
    ],
)
def test_marks_are_told_from_words(text: str, marks: dict[str, float]) -> None:
    assert read_marks(text) == marks


def search_two_shots(folder: Path, reader: Any, answer: Any) -> tuple[Any, list[Any], list[str]]:
    """What came of a search of two shots, what it showed, and the notes in its log."""
    pictures = folder / "pictures"
    pictures.mkdir()
    shown: list[Any] = []

    def show(event: Any) -> None:
        shown.append(event)
        if isinstance(event, AwaitingPicture):
            (pictures / f"{event.shot}.jpg").write_bytes(b"no picture\xff\xd9")

    source = WatchedFolder(pictures)
    source.quiet_s = 0.1
    rig = example_rig()
    arrivals = Arrivals(source, folder / "unused", wait_s=5.0)
    with (
        ShotLog.open(folder / "log.sqlite3") as log,
        arrivals,
        Board.connect("sim", rig=rig, seed=2) as board,
    ):
        arrivals.open()
        steps = seek(rig, board, rig_file=folder / "rig.toml", fresh=True, most=2, reader=reader)
        done = run(steps, board, log, PythonFrontEnd(answer, show), arrivals=arrivals)
        return done, shown, [line.note for line in log.list_shots(limit=None)]


def test_the_search_learns_from_the_picture_that_has_arrived(tmp_path: Path) -> None:
    class Reader:
        """Finds every picture to be the collision, late by 3 ms."""

        def read(self, path: Path, marks: Mapping[str, float], record: ShotRecord) -> Reading:
            return Reading(path, Answer("after", since_s=5e-3, since_error_s=2e-4), path.name)

    done, shown, notes = search_two_shots(tmp_path, Reader(), lambda question: "")
    assert [one.reading.said for one in shown if isinstance(one, PictureRead)] == ["1.jpg", "2.jpg"]
    assert all("picture" in note for note in notes)
    first, second = (one.aim for one in done.shots)
    if first.spacing_s == pytest.approx(second.spacing_s, abs=1e-5):
        assert second.delay_s < first.delay_s, "it was late"


def test_a_mark_shows_the_new_reading_before_it_counts(tmp_path: Path) -> None:
    class Reader:
        """Sees a jet, until both marks are set."""

        def read(self, path: Path, marks: Mapping[str, float], record: ShotRecord) -> Reading:
            return Reading(path, Answer("contact" if len(marks) == 2 else "jet"), " ".join(marks))

    asked: list[str] = []

    def answer(question: Any) -> str:
        if question.said is not None:
            return ""
        asked.append(question.reading.said)
        return {"": "tip 512", "tip": "drop 480"}.get(question.reading.said, "")

    done, _, notes = search_two_shots(tmp_path, Reader(), answer)
    assert asked == ["", "tip", "tip drop"] * 2, "each mark is kept and shown before it counts"
    assert [one.answer.word for one in done.shots] == ["contact", "contact"]
    assert all("picture" in note for note in notes)
