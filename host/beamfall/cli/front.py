"""The terminal as a front end of workflows: shows their steps, asks their questions.

Cautions and questions go to standard error if standard output must contain results only.
"""

from __future__ import annotations

import sys
from typing import Any, Self, TextIO

from beamfall.cli import words
from beamfall.cli.output import print_json
from beamfall.shots.describe import describe_record
from beamfall.workflows.steps import (
    ContainerBelow,
    DropsFallen,
    Event,
    Fired,
    FlashesAhead,
    Pictured,
    PictureLate,
    Question,
    WarmingUp,
    WhichPicture,
)
from beamfall.workflows.sweep import StepFired, SweepStopped
from beamfall.workflows.words import say_container_below, say_warming_up


class Terminal:
    """Implements `workflows.run.FrontEnd`. `quiet`: only results, and cautions about what is not safe.

    Commands that show more than this extend `show`.
    """

    gone: type[BaseException] = KeyboardInterrupt  # raised if nobody is there to answer

    def __init__(self, *, quiet: bool = False) -> None:
        self.quiet = quiet

    def show(self, event: Event) -> None:
        match event:
            case FlashesAhead():
                self._warn(event)
            case WarmingUp() if not self.quiet:
                print(say_warming_up(event), flush=True)
            case Pictured() | PictureLate():
                for said in words.list_pictured(event):
                    print(said, file=self.stream, flush=True)

    def _warn(self, event: FlashesAhead) -> None:
        if not self.quiet:
            self.caution(words.say_flashes_ahead(event))
        if event.flicker:
            self.caution(event.flicker)

    @staticmethod
    def caution(text: str) -> None:
        print(f"Caution: {text}", file=sys.stderr)

    # -- asking ------------------------------------------------------------------------------------------------
    def ask(self, question: Question[Any], problem: str) -> str:
        """Ask a question that any command may have."""
        if problem:
            print(problem, file=self.stream)
        if isinstance(question, WhichPicture):
            for line in words.list_pictures(question):
                print(line, file=self.stream)
            typed = self._read_line("Which one? (its number, or none) ")
            return question.otherwise if typed is None else typed
        assert isinstance(question, ContainerBelow)
        return self.read(f"{say_container_below(question)} [y/N]: ") or "no"

    @property
    def stream(self) -> TextIO:
        """Where questions go."""
        return sys.stderr if self.quiet else sys.stdout

    def read(self, prompt: str) -> str:
        """One line that somebody types. Raises `gone` where standard input has ended: nobody is there."""
        line = self._read_line(prompt)
        if line is None:
            raise self.gone
        return line

    def _read_line(self, prompt: str) -> str | None:
        """One line that somebody types; None if standard input has ended."""
        print(prompt, end="", file=self.stream, flush=True)
        try:
            line = sys.stdin.readline()
        except UnicodeDecodeError:
            line = "\n"  # not readable: treated as Enter, or asked again
        if not sys.stdin.isatty():
            print(file=self.stream, flush=True)  # no terminal echoed an Enter
        return line.strip() if line else None


class ShootTerminal(Terminal):
    """Shows each shot as it ends: a JSON line, a line of text, or a bar for a long series.

    `with_pictures`: a JSON line waits for the shot's picture, which it names.
    """

    def __init__(self, count: int, *, as_json: bool, with_pictures: bool = False) -> None:
        super().__init__(quiet=as_json)
        self._count = count
        self._event = Pictured if as_json and with_pictures else Fired
        self._bar: Any = None

    def __enter__(self) -> Self:
        if self._count > 3 and sys.stderr.isatty():
            from rich.console import Console
            from rich.progress import Progress as Bar

            self._bar = Bar(console=Console(stderr=True), transient=True)
            self._bar.start()
            self._task = self._bar.add_task("shots", total=self._count)
        return self

    def __exit__(self, *_: object) -> None:
        if self._bar is not None:
            self._bar.stop()

    def show(self, event: Event) -> None:
        if isinstance(event, self._event):
            fired = event.fired if isinstance(event, Pictured) else event
            if isinstance(fired, Fired) and not fired.is_warm_up:
                self._show_shot(fired)
        super().show(event)

    def _show_shot(self, fired: Fired) -> None:
        if self.quiet:
            print_json({**fired.record.to_json(), "remarks": fired.remarks})
        elif self._count <= 20:
            print(describe_record(fired.record, sees_light=fired.sees_light))
        if self._bar is not None:
            self._bar.advance(self._task)


class SweepTerminal(Terminal):
    """Shows each step as it is fired: a JSON line or a line of text."""

    def __init__(self, *, as_json: bool) -> None:
        super().__init__(quiet=as_json)

    def show(self, event: Event) -> None:
        super().show(event)
        match event:
            case StepFired(fired=fired) if self.quiet:
                print_json({**fired.record.to_json(), "swept": fired.swept})
            case StepFired():
                print(words.say_step(event))
            case SweepStopped(series=series) if not self.quiet:
                print(words.say_sweep_stopped(series))


class CalibrateTerminal(Terminal):
    """Says once that the drops have fallen: the calculation takes seconds."""

    def __init__(self, port: str, *, quiet: bool) -> None:
        super().__init__(quiet=quiet)
        self._port = port

    def show(self, event: Event) -> None:
        super().show(event)
        if isinstance(event, DropsFallen) and not self.quiet:
            print(words.say_drops_fallen(event, self._port), flush=True)
