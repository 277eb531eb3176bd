"""A search at the terminal: each shot in a line, and a question under its picture."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from beamfall.cli import words
from beamfall.cli.front import Terminal
from beamfall.cli.output import print_json
from beamfall.text import show_text
from beamfall.workflows.seek_steps import (
    Answered,
    LookedAgain,
    Misfired,
    PictureRead,
    SearchBegun,
    SearchStopped,
    WhatIsSeen,
)
from beamfall.workflows.steps import Event, Question
from beamfall.workflows.words import BEGINS_APART, MISFIT


class SeekTerminal(Terminal):
    """Shows what each shot has taught. `picture`: the file into which the picture that is asked about is drawn."""

    def __init__(self, picture: Path | None, *, as_json: bool) -> None:
        super().__init__(quiet=as_json)
        self._picture = picture
        self._has_said_misfit = False

    def show(self, event: Event) -> None:
        super().show(event)
        if self.quiet:
            if isinstance(event, Answered):
                print_json(_to_json(event))
            elif isinstance(event, LookedAgain):
                print_json(_to_json(event.answered) | {"second_look": True})
            return
        match event:
            case SearchBegun(begins_apart=True):
                print(BEGINS_APART)
            case Misfired():
                print(words.say_misfired(event))
            case PictureRead(reading=reading):
                print(words.say_reading(reading))
            case Answered():
                print(words.say_answered(event))
                self._say_misfit(event)
            case LookedAgain():
                print(words.say_looked_again(event))
                self._say_misfit(event.answered)
            case SearchStopped():
                print("\n".join(["", *words.list_search_stopped(event)]))

    def _say_misfit(self, one: Answered) -> None:
        """Say once in a search that its answers do not fit the rig file."""
        if one.misfit and not self._has_said_misfit:
            self._has_said_misfit = True
            print(MISFIT)

    def ask(self, question: Question[Any], problem: str) -> str:
        """Give the shot and its picture, then ask; `?` explains the words."""
        if not isinstance(question, WhatIsSeen):
            return super().ask(question, problem)
        if problem:
            print(problem, file=self.stream)
        else:
            self._show_shot(question)
        while True:
            typed = self._read_line(words.say_what_is_seen(question))
            if typed is None:
                if question.otherwise is None:
                    raise self.gone
                return question.otherwise
            if typed != "?":
                return typed
            for line in words.explain_answers(len(question.aim.times_s)):
                print(line, file=self.stream)

    def _show_shot(self, question: WhatIsSeen) -> None:
        print(words.say_asked(question), file=self.stream)
        taken, photo = question.fired.picture, question.fired.photo
        if photo is not None and question.said is not None:
            print(f"its picture: {show_text(photo.path)}", file=self.stream)
        if taken is not None and self._picture is not None:
            taken.draw(self._picture, tell=False)
            print(f"its picture: {show_text(self._picture)}", file=self.stream)


def _to_json(one: Answered) -> dict[str, Any]:
    def millis(value: float | None, digits: int = 3) -> float | None:
        return None if value is None else round(value * 1e3, digits)

    answer = one.answer
    heights = (None,) * 3 if answer is None else (answer.jet_m, answer.drop_m, answer.width_m)
    return {
        "shot": one.fired.shot,
        "number": one.aim.number,
        "spacing_ms": millis(one.aim.spacing_s),
        "openings_ms": [millis(at) for at in one.aim.times_s],
        "flash_delay_ms": millis(one.aim.delay_s),
        "answer": None if answer is None else answer.word,
        "told_nothing": one.useless,
        "jet_mm": millis(heights[0], 2),
        "drop_mm": millis(heights[1], 2),
        "age": None if answer is None else answer.age or None,
        "width_mm": millis(heights[2], 2),
        "misfit": one.misfit,
        "chance": round(one.chance, 3),
        "second_look": False,
    }
