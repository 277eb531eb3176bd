"""A job and its work: what runs on the board's thread, shown on the hub and answered by people."""

from __future__ import annotations

import itertools
import time
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, TypeVar

from beamfall.page.listening import ListeningBoard
from beamfall.shots import ShotLog

if TYPE_CHECKING:
    from beamfall.page.bench import Bench


T = TypeVar("T")

_ASKING_S = 0.05
_KEPT = ("sweep", "seek", "check", "calibrate", "recipe")
_ids = itertools.count(1)  # a page must be able to tell jobs and questions of one server apart


@dataclass
class Job:
    """Something to be done: `kind` for programs, `title` for people, `run` on the board's thread."""

    kind: str
    title: str
    run: Callable[[Work], None]
    asked_by: str = ""  # the device that asked for it


class Work:
    """A job under way, and what it may use."""

    def __init__(self, bench: Bench, job: Job, board: ListeningBoard, log: ShotLog) -> None:
        self.bench = bench
        self.board = board
        self.log = log
        self.desk = bench.desk
        self.hub = bench.hub
        self.seed = bench.seed
        self.asked_by = job.asked_by
        self._shown: dict[str, Any] = {
            "id": next(_ids), "kind": job.kind, "title": job.title, "state": "running", "text": "",
            "note": "", "done": 0, "of": 0, "question": None, "lines": [], "rest_until": None, "result": None,
        }  # fmt: skip

    def end(self, state: str, text: str) -> None:
        """Show how it ended: ended, aborted or failed."""
        self.tell(state=state, question=None, rest_until=None, **({"text": text} if text else {}))

    def tell(self, **values: Any) -> None:
        """Show more of it: `text`, `note`, `done`, `of`, `lines`, `result`."""
        self._shown.update(values)
        shown = dict(self._shown)
        # The result of a longer job stays visible while other jobs run.
        kept = {f"job_{shown['kind']}": shown} if shown["kind"] in _KEPT else {}
        self.hub.set(job=shown, **kept)

    @property
    def lines(self) -> Sequence[Mapping[str, Any]]:
        """The lines of its table."""
        lines: Sequence[Mapping[str, Any]] = self._shown["lines"]
        return lines

    def add_line(self, **line: Any) -> None:
        """Add a line to its table."""
        self.tell(lines=[*self._shown["lines"], line])

    def ask(
        self,
        text: str,
        choices: Sequence[tuple[str, str]],
        *,
        hint: str = "",
        cautions: Sequence[str] = (),
        free: bool = False,
        shot: int | None = None,
        measured: Mapping[str, Any] | None = None,
        listen: Callable[[float], None] | None = None,
    ) -> str:
        """Ask people and wait, while the board is listened to; the first answer of any page counts.

        `choices` are (answer, words). `free`: an answer may also be typed. `shot`: its picture is shown,
        with the marks of `measured`.
        `listen`, for workflows that need what the board says meanwhile, takes it in for the given seconds
        and keeps the link alive.
        """
        number = next(_ids)
        question = {
            "id": number, "text": text, "hint": hint, "cautions": list(cautions), "free": free,
            "choices": [{"value": value, "words": words} for value, words in choices], "shot": shot,
            "measured": measured,
        }  # fmt: skip
        self.tell(question=question)
        asked = time.monotonic()
        while True:
            answer = self.bench.answers.take(number)
            if answer is not None:
                self.tell(question=None)
                return answer
            if listen is not None:
                listen(_ASKING_S)
                continue
            self.board.pump(_ASKING_S)
            if time.monotonic() - asked > 0.5:
                asked = time.monotonic()
                self.board.status()

    @property
    def pace(self) -> float:
        """How fast the port's time passes."""
        return self.bench.pace if self.board.traits.is_virtual_time else 1.0
