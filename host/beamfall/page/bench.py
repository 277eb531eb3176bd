"""What the board's thread and its jobs share: what is armed, whose answers are awaited, which waits run."""

from __future__ import annotations

import contextlib
import queue
from dataclasses import dataclass, field
from pathlib import Path

from beamfall.errors import UserError
from beamfall.page.camera import CameraChoice
from beamfall.page.desk import Desk
from beamfall.page.hub import Hub
from beamfall.page.listening import Opener
from beamfall.page.review import describe_shot_line
from beamfall.page.trends import Trends
from beamfall.recipes.card import Held
from beamfall.setup.sequence import Sequence
from beamfall.shots import ShotLog
from beamfall.workflows.series import Shooter
from beamfall.workflows.waits import Waits


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


@dataclass
class Armed:
    """A sequence that is ready on the board, and the digest of its table."""

    sequence: Sequence
    digest: bytes


@dataclass
class Bench:
    """`opener` opens the port; `pace` is how fast simulated time passes."""

    hub: Hub
    desk: Desk
    opener: Opener
    log_path: Path | None = None
    seed: int = 0
    pace: float = 1.0
    chosen: CameraChoice | None = None  # where pictures come from, as on the command line
    camera: CameraChoice = field(init=False)
    armed: Armed | None = None
    held: tuple[Held, ...] = ()  # what the board's slots held when they were last read
    waits: Waits = field(default_factory=Waits)
    single_shots: Shooter | None = None  # the series that single shots join
    trends: Trends = field(init=False)
    answers: Answers = field(init=False)

    def __post_init__(self) -> None:
        self.answers = Answers(self.hub)
        self.trends = Trends(self.hub, self.desk)
        self.camera = self.chosen or CameraChoice(self.hub)

    def arm(self, sequence: Sequence, digest: bytes) -> None:
        """Note that a sequence is ready on the board, as the table of that digest. On its thread only."""
        self.armed = Armed(sequence, digest)
        self.hub.set(armed={"name": sequence.name, "of": self.desk.number})

    def disarm(self) -> None:
        """Note that nothing is."""
        self.armed = None
        self.hub.set(armed=None)

    def tell_line(self, log: ShotLog, shot: int) -> None:
        """Make all pages update a shot's line."""
        self.hub.tell("line", line=describe_shot_line(log, shot))
