"""Where the timings that are checked come from."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum


class Source(StrEnum):
    """What the timings were taken from. A single drop is the shot of a rig without a flash."""

    PLAN = "plan"
    SINGLE_DROP = "single-drop"
    FILE = "file"
    SHOT = "shot"
    BOARD = "board"
    PAGE = "page"
    SIMULATED_RIG = "simulated-rig"
    CALLER = "caller"


_WORDS = {
    Source.PLAN: "the plan's timings",
    Source.SINGLE_DROP: "one drop, without a flash",
    Source.FILE: "those of {file}",
    Source.SHOT: "the sequence of shot {shot}",
    Source.BOARD: "the sequence that the board holds",
    Source.PAGE: "those on this page",
    Source.SIMULATED_RIG: "those set on the simulated rig",
    Source.CALLER: "the caller's own sequence",
}
_CHOSEN_BY_COMMAND = (Source.PLAN, Source.SHOT, Source.BOARD)


@dataclass(frozen=True)
class Origin:
    """`shot` is the number of the shot, `file` the name of the file, where they come from one."""

    source: Source
    shot: int | None = None
    file: str = ""

    def name(self) -> str:
        """A few words, such as 'the sequence of shot 3'."""
        return _WORDS[self.source].format(shot=self.shot, file=self.file)

    def describe(self) -> str:
        """The name, and how to have others checked if the command chose these."""
        how = "; to check others: --sequence FILE" if self.source in _CHOSEN_BY_COMMAND else ""
        return self.name() + how

    def to_json(self) -> dict[str, str | int]:
        found: dict[str, str | int] = {"source": str(self.source)}
        if self.shot is not None:
            found["shot"] = self.shot
        if self.file:
            found["file"] = self.file
        return found
