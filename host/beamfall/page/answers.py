"""The answers of people at pages to the question that a job asks."""

from __future__ import annotations

import contextlib
import queue

from beamfall.errors import UserError
from beamfall.page.hub import Hub


class Answers:
    """Answers given on any thread and taken on the board's thread."""

    def __init__(self, hub: Hub) -> None:
        self._hub = hub
        self._given: queue.Queue[tuple[int, str]] = queue.Queue()

    def give(self, question: int, value: str) -> None:
        """Answer the question that a job has asked; the first answer counts."""
        current = (self._hub.get("job") or {}).get("question")
        if current is None or current["id"] != question:
            raise UserError("this question is already answered")
        choices = {choice["value"] for choice in current["choices"]}
        if not current.get("free") and value not in choices:
            raise UserError(f"'{value}' is not one of the answers")
        self._given.put((question, value))

    def take(self, question: int) -> str | None:
        """The answer to a question, if it has come; answers to others are dropped."""
        with contextlib.suppress(queue.Empty):
            while True:
                number, value = self._given.get_nowait()
                if number == question:
                    return value
        return None
