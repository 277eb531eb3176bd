"""The guided rig on the page. The page keeps the answers, so each step is an independent request."""

from __future__ import annotations

import json
from typing import Any

from beamfall.errors import BeamfallError, UserError
from beamfall.guide.drawing import HEIGHT, WIDTH, list_shapes
from beamfall.guide.remarks import describe_answer
from beamfall.guide.walk import Walk

_NAME = "my_rig"  # as in the handbook


def take_step(
    answers: str = "", key: str = "", text: str = "", back: bool = False
) -> dict[str, Any]:
    """Return the next question after an answer (`key`, `text`), or the one before; with what follows from the answer.

    An answer that does not fit comes back with its question and `problem`, and changes nothing.
    """
    walk = _read(answers)
    problem, likely = "", ()
    remarks: list[str] = []
    if back:
        walk = walk.back()
    elif key:
        try:
            walk = walk.answer(key, text)
            remarks = describe_answer(key, walk.make_rig())
        except BeamfallError as error:
            problem, likely = str(error), getattr(error, "likely", ())
    question = walk.question
    step: dict[str, Any] = {
        "answers": json.dumps(dict(walk.answers), ensure_ascii=False),
        "problem": problem,
        "likely": likely,
        "remarks": remarks,
        "total": len(walk.questions),
        "question": None,
    }
    if question is not None:
        step["question"] = {
            "key": question.key,
            "number": 1 + walk.questions.index(question),
            "ask": question.ask,
            "how": question.how,
            "also": question.also,
            "suggestion": walk.suggest(question),
            "options": list(question.options),
        }
        shapes = list_shapes(question.shows)
        step["drawing"] = {"width": WIDTH, "height": HEIGHT, "shapes": shapes}
    return step


def finish(answers: str) -> str:
    """Return the rig file of a completed walk."""
    walk = _read(answers)
    if walk.question is not None:
        raise UserError(f"One question is still open: {walk.question.ask}")
    return walk.make_file()


def _read(answers: str) -> Walk:
    walk = Walk(_NAME)
    try:
        for key, text in json.loads(answers or "{}").items():
            walk = walk.answer(str(key), str(text))
    except (ValueError, AttributeError, RecursionError) as error:
        if isinstance(error, BeamfallError):
            raise
        raise UserError("The answers cannot be read. Start the guide again.") from error
    return walk
