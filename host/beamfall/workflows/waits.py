"""When the next shot may be fired: the surface has to settle, and a flash to recycle, which it does not report.

A flash that is triggered too early stays dark while the board says `fired`. So nothing flashes before the
rig's `recycle` has passed since the last flash. The user may cut short the rest since the last shot.
"""

from __future__ import annotations

from dataclasses import dataclass

from beamfall.setup.rig import Rig
from beamfall.setup.sequence import Sequence
from beamfall.setup.signals import SignalKind


def flashes(sequence: Sequence) -> bool:
    """Whether a sequence fires a flash."""
    return any(row.kind is SignalKind.FLASH for row in sequence.rows)


def find_recycle(rig: Rig) -> float:
    """The longest time that a flash of a rig takes to recycle, in s."""
    return max((flash.recycle_s for flash in rig.flashes), default=0.0)


@dataclass(frozen=True)
class Left:
    """The remaining waits, in s; 0 if there is none."""

    rest_s: float = 0.0
    recycle_s: float = 0.0

    @property
    def longest_s(self) -> float:
        return max(self.rest_s, self.recycle_s)


@dataclass
class Waits:
    """When the last shot and the last flash ended, on the port's clock, in s; None: there was none yet."""

    shot_s: float | None = None
    flash_s: float | None = None

    def note(self, now_s: float, *, shot: bool = True, flashed: bool = True) -> None:
        """A shot, or a flash alone, has just ended."""
        if shot:
            self.shot_s = now_s
        if flashed:
            self.flash_s = now_s

    def forget(self) -> None:
        """Forget the times: the port's clock has started again, and with it a simulated rig."""
        self.shot_s = self.flash_s = None

    def find_left(self, now_s: float, rig: Rig | None, *, rest_s: float | None = None) -> Left:
        """What is left of the rest (the rig's, unless another one is given) and of recycling."""
        if rest_s is None:
            rest_s = 0.0 if rig is None else rig.aim.rest_s
        recycle_s = 0.0 if rig is None else find_recycle(rig)
        return Left(
            0.0 if self.shot_s is None else max(0.0, self.shot_s + rest_s - now_s),
            0.0 if self.flash_s is None else max(0.0, self.flash_s + recycle_s - now_s),
        )
