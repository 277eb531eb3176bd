"""A check at the terminal: what each test showed, and questions to the user.

Questions go to standard error, so that standard output is the finding's alone.
"""

from __future__ import annotations

import sys
from typing import Any, TextIO

from beamfall.cli import words
from beamfall.cli.front import Terminal
from beamfall.faults.aside import listen_aside
from beamfall.faults.questions import PersonGone
from beamfall.workflows.check import (
    CANNOT_TELL,
    DONE,
    READY,
    Agree,
    AtRig,
    DoIt,
    GetReady,
    Look,
    PutBack,
    TestAhead,
    TestMade,
)
from beamfall.workflows.steps import Event, Question

_CANNOT = ("0", "?", "cannot tell", "cannot", "can't tell", "don't know", "dont know", "unknown")


class CheckTerminal(Terminal):
    """`alone`: a simulated person answers, and nobody waits here."""

    gone = PersonGone  # the check then ends with what it knows so far

    def __init__(self, *, alone: bool = False, quiet: bool = False) -> None:
        super().__init__(quiet=quiet)
        self._alone = alone

    @property
    def stream(self) -> TextIO:
        return sys.stderr

    def show(self, event: Event) -> None:
        super().show(event)
        match event:
            case TestAhead(check=check) if not self._alone:
                self._say(words.say_test_ahead(check))
            case TestMade(step=step) if not self.quiet:
                line = words.say_test_made(step)
                if line:
                    print(line)

    def ask(self, question: Question[Any], problem: str) -> str:
        match question:
            case Agree(cautions=cautions):
                self._say(words.CHECK_AHEAD)
                for caution in cautions:
                    self._say(f"  Caution: {caution}")
                self.read("Press Enter to begin; Ctrl-C switches all outputs off: ")
                return READY
            case PutBack(question=one):
                self._say(one.after)
                self.read("Press Enter when it is done: ")
                return DONE
            case AtRig():
                return self._ask_at_rig(question, problem)
        return super().ask(question, problem)

    def _ask_at_rig(self, question: AtRig, problem: str) -> str:
        if not problem:
            self._begin(question)
        if isinstance(question, GetReady):
            return self._wait("Press Enter when you are ready; 0 if it cannot be done: ", READY)
        if isinstance(question, DoIt):
            with listen_aside(question.listen):
                return self._wait("Press Enter when it is done; 0 if it cannot be done: ", DONE)
        assert isinstance(question, Look)
        names = list(question.question.answers)
        if problem:
            self._say(f"Type a number from 0 to {len(names)}.")
        else:
            self._list_answers(question)
        given = self.read("Your answer: ").lower()
        if given in _CANNOT:
            return CANNOT_TELL
        for number, name in enumerate(names, 1):
            if given in (str(number), name, name[:1]):
                return name
        return given

    def _begin(self, question: AtRig) -> None:
        self._say("")
        if question.again:
            self._say("Once more, to be sure:")
        if question.caution:
            self._say(f"Caution: {question.caution}")
        one = question.question
        self._say(one.before if isinstance(question, GetReady) else one.text)

    def _list_answers(self, question: Look) -> None:
        answers = question.question.answers
        for number, name in enumerate(answers, 1):
            self._say(f"  {number}  {answers[name]}")
        self._say("  0  cannot tell")
        if question.simulated is not None:
            self._say(f"On the simulated rig: {answers[question.simulated]}")

    def _wait(self, prompt: str, done: str) -> str:
        return CANNOT_TELL if self.read(prompt).lower() in _CANNOT else done

    def _say(self, text: str) -> None:
        print(text, file=sys.stderr, flush=True)
