"""Whoever sits at this terminal, asked by `beamfall check`.

Questions go to standard error, so that standard output is the finding's alone.
"""

from __future__ import annotations

import sys
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from beamfall.faults.questions import Listen, Question

_CANNOT = ("0", "?", "cannot tell", "cannot", "can't tell", "don't know", "dont know", "unknown")


class TerminalPerson:
    """Obeys `beamfall.faults.questions.Person`. The end of standard input means that nobody is there any more."""

    def __init__(self) -> None:
        self._told: set[str] = set()
        self._asked: set[str] = set()

    def begin(self, cautions: tuple[str, ...]) -> None:
        self._say("Drops will fall and the flash will fire while this looks for the fault.")
        for caution in cautions:
            self._say(f"  Caution: {caution}")
        self._told.update(cautions)
        self._read("Press Enter to begin; Ctrl-C puts all outputs off")

    def prepare(self, question: Question) -> None:
        from beamfall.faults.questions import leave_out

        self._say("")
        if question.name in self._asked:
            self._say("Once more, to be sure:")
        self._asked.add(question.name)
        caution = leave_out(question.caution, self._told)
        if caution:
            self._say(f"Caution: {caution}")
            self._told.add(caution)
        if question.before:
            self._say(question.before)
            self._wait("Press Enter when you are ready; 0 if it cannot be done")

    def act(self, question: Question, listen: Listen) -> None:
        from beamfall.faults.aside import listen_aside

        self._say(question.text)
        with listen_aside(listen):
            self._wait("Press Enter when it is done; 0 if it cannot be done")

    def answer(self, question: Question) -> str:
        from beamfall.faults.questions import CannotTell

        self._say(question.text)
        names = list(question.answers)
        for number, name in enumerate(names, 1):
            self._say(f"  {number}  {question.answers[name]}")
        self._say("  0  cannot tell")
        while True:
            given = self._read("Your answer").lower()
            if given in _CANNOT:
                raise CannotTell
            for number, name in enumerate(names, 1):
                if given in (str(number), name, name[:1]):
                    return name
            self._say(f"Type a number from 0 to {len(names)}.")

    def finish(self, question: Question) -> None:
        if question.after:
            self._say(question.after)
            self._read("Press Enter when it is done")

    def _say(self, text: str) -> None:
        print(text, file=sys.stderr, flush=True)

    def _wait(self, text: str) -> None:
        from beamfall.faults.questions import CannotTell

        if self._read(text).lower() in _CANNOT:
            raise CannotTell

    def _read(self, text: str) -> str:
        """One line. Raises PersonGone where standard input has ended."""
        from beamfall.faults.questions import PersonGone

        print(f"{text}: ", end="", file=sys.stderr, flush=True)
        try:
            line = sys.stdin.readline()
        except UnicodeDecodeError:
            line = "\n"  # no answer that could be read: asked again, or Enter
        if not sys.stdin.isatty():
            self._say("")  # nobody's Enter has ended the line
        if not line:
            raise PersonGone
        return line.strip()
