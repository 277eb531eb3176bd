"""Reports in order, each once: the host's half of their delivery, with no I/O."""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum
from typing import Any

from beamfall.wire.messages import Message


class Origin(Enum):
    """Whose report it is: the board's own, or a trouble that the link made in place of what it could not deliver."""

    BOARD = "board"
    TAKEN = "taken"  # another program had these reports
    UNREADABLE = "unreadable"


@dataclass(frozen=True, slots=True)
class Report:
    """A report as delivered; the board numbers reports from 1 in each boot."""

    boot_id: int
    number: int
    message: Message
    origin: Origin = Origin.BOARD

    @property
    def name(self) -> str:
        """The message's name: `edges`, `shot_done`, ..."""
        return self.message.name

    def __getitem__(self, field: str) -> Any:
        return self.message.fields[field]


class Verdict(Enum):
    """What to do with a report that came."""

    DELIVER = "deliver"
    REPEAT = "repeat"
    AHEAD = "ahead"


class ReportOrder:
    """Decides by number which reports are new, seen or too early, across all sessions of a boot."""

    def __init__(self) -> None:
        self.boot_id: int | None = None
        self.expected: int | None = None  # None: no session has been opened yet
        self.skipped: tuple[int, int] | None = None  # by the newest `take`: first and last
        self._oldest = 0  # reports before it will not come in this session

    def begin(self, boot_id: int, oldest_report: int) -> bool:
        """Note a welcome's boot id and the first report it promises.

        Returns whether the board has restarted. In a boot that is new to this host the count starts
        at the promised report; if that one is lost on the line, the gap shows and it comes again.
        """
        restarted = self.boot_id is not None and self.boot_id != boot_id
        self._oldest = oldest_report
        if boot_id != self.boot_id:
            self.boot_id = boot_id
            self.expected = oldest_report
        return restarted

    def take(self, number: int, forgotten_from: int | None) -> Verdict:
        """Judge report `number`; `forgotten_from` is the `first` of a `forgotten`, else None.

        A `forgotten` covers every number from its first to its own, so it may be ahead.
        """
        expected = self.expected
        self.skipped = None
        if expected is not None and number < expected:
            return Verdict.REPEAT
        gap = expected is not None and expected < self._oldest
        first = number if forgotten_from is None else forgotten_from
        if gap and first == self._oldest:
            # The board did not drop them: another program has taken them in the meantime.
            self.skipped = (expected or 0, self._oldest - 1)
            expected = self.expected = self._oldest
        bridges = forgotten_from is not None and expected is not None and forgotten_from <= expected
        if expected is None or number == expected or bridges:
            self.expected = number + 1
            return Verdict.DELIVER
        return Verdict.AHEAD
