"""Answers are read as people type them, and what cannot be read says why."""

from __future__ import annotations

import pytest

from beamfall.errors import UnitError, WrongValue
from beamfall.planning.seek.answer import Answer, read_answer


@pytest.mark.parametrize(
    ("text", "answer"),
    [
        ("after", Answer("after")),
        ("  BEF ", Answer("before")),
        ("before jet 31 mm drop 4.2 cm", Answer("before", 0.031, 0.042)),
        ("contact, jet 31mm", Answer("contact", 0.031)),
        ("jet 31 mm", Answer("jet", 0.031)),
        ("Jet 31mm", Answer("jet", 0.031)),
        ("jet Jet 31 mm", Answer("jet", 0.031)),
        ("n", Answer("nothing")),
    ],
)
def test_answers_are_read_as_people_type_them(text, answer) -> None:
    read = read_answer(text)
    assert read.word == answer.word
    assert (read.jet_m, read.drop_m) == (
        pytest.approx(answer.jet_m) if answer.jet_m else None,
        pytest.approx(answer.drop_m) if answer.drop_m else None,
    )


@pytest.mark.parametrize(
    ("text", "of", "found"),
    [
        ("", "answer", ""),
        ("perhaps", "answer", "perhaps"),
        ("after jet", "measured", "jet"),
        ("jet 31 mm drop 42 mm", "answer", "jet 31 mm drop 42 mm"),
        ("after jet 3 m", "jet", 3.0),
        ("before width 14 mm", "width", "before"),  # only an umbrella has one
    ],
)
def test_answers_that_cannot_be_read_say_why(text, of, found) -> None:
    with pytest.raises(WrongValue) as caught:
        read_answer(text)
    told = caught.value
    assert (told.of, told.found) == (of, found)
    allowed = {"answer": "contact", "measured": "drop", "width": "after"}.get(of)
    assert allowed in told.choices if allowed else (told.low, told.high) == (0.0, 0.3)


@pytest.mark.parametrize("height", ["31", "31 ms"])
def test_a_height_without_a_length_is_refused(height) -> None:
    with pytest.raises(UnitError) as caught:
        read_answer(f"after jet {height}")
    assert (caught.value.key, caught.value.found) == ("jet", height)


@pytest.mark.parametrize(
    ("text", "answer"),
    [
        ("just after", Answer("after", age="just after")),
        ("long a", Answer("after", age="long after")),
        ("Just bef", Answer("before", age="just before")),
        ("after width 28 mm", Answer("after", width_m=0.028)),
        ("just after width 14 mm", Answer("after", age="just after", width_m=0.014)),
    ],
)
def test_the_age_and_width_of_an_umbrella_are_read(text, answer) -> None:
    read = read_answer(text)
    assert (read.word, read.age) == (answer.word, answer.age)
    assert read.width_m == (pytest.approx(answer.width_m) if answer.width_m else None)
