"""What happened on a link, counted: nothing is dropped in silence."""

from __future__ import annotations

from dataclasses import dataclass, field

from beamfall.wire.framing import FrameErrorName


@dataclass
class LinkCounters:
    """Counts since the link was made; they continue after a reconnection."""

    bytes_sent: int = 0
    bytes_received: int = 0
    frames_sent: int = 0
    frames_good: int = 0
    frames_bad: dict[str, int] = field(
        default_factory=lambda: dict.fromkeys((name.value for name in FrameErrorName), 0)
    )
    requests: int = 0  # made by the caller, hello included
    retransmissions: int = 0  # the same request sent again
    refusals: int = 0
    answers_dropped: int = 0  # late, from another session, or to another request
    reports_delivered: int = 0
    reports_repeated: int = 0  # seen before: acknowledged again, not delivered
    reports_ahead: int = 0  # one before it is missing: dropped, the board goes back
    beacons: int = 0  # the board identified itself, unasked
    reports_foreign: int = 0  # of another session
    acknowledgements: int = 0
    sessions: int = 0  # opened
    restarts: int = 0  # of the board, seen by its boot id
    reconnections: int = 0  # of the port

    @property
    def frames_bad_total(self) -> int:
        """All damaged or unusable frames."""
        return sum(self.frames_bad.values())
