"""When the next shot may go: the surface has to rest, and a flash to recycle, which it tells nobody.

A flash that is asked too early stays dark while the board says `fired`. So nothing that a page starts
flashes before the rig's `recycle` has passed since the last flash; that is never undercut. The rig's
`rest`, since the last shot, may be left out where somebody says so.
"""

from __future__ import annotations

import time
from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from beamfall.page.hub import Hub
    from beamfall.page.listening import ListeningBoard
    from beamfall.setup.rig import Rig
    from beamfall.setup.sequence import Sequence

_RETELL_MS = 300.0  # the end of a wait is told again where it has moved by so much


def flashes(sequence: Sequence) -> bool:
    """Whether a sequence fires a flash."""
    return any(row.output.startswith("flash") for row in sequence.rows)


def find_recycle(rig: Rig) -> float:
    """The longest time that a flash of a rig takes to recycle, in s."""
    return max((flash.recycle_s for flash in rig.flashes), default=0.0)


@dataclass(frozen=True)
class Left:
    """What is still to be waited for, in s; 0 where nothing is."""

    rest_s: float = 0.0
    recycle_s: float = 0.0

    @property
    def longest_s(self) -> float:
        return max(self.rest_s, self.recycle_s)

    def describe(self) -> str:
        """In a sentence, for whoever asked too early."""
        if self.recycle_s >= self.rest_s:
            return f"Ready again in {self.recycle_s:.1f} s: the flash recycles."
        return f"Ready again in {self.rest_s:.1f} s: the surface rests. Shift and R release before that."


@dataclass
class Waits:
    """When the last shot and the last flash ended, on the port's clock, in s; None: not here yet."""

    shot_s: float | None = None
    flash_s: float | None = None

    def note(self, now_s: float, *, shot: bool = True, flashed: bool = True) -> None:
        """A shot, or a flash alone, has just ended."""
        if shot:
            self.shot_s = now_s
        if flashed:
            self.flash_s = now_s

    def forget(self) -> None:
        """The clock has begun anew, and the rig with it: a simulated one."""
        self.shot_s = self.flash_s = None

    def find_left(self, now_s: float, rig: Rig, *, rest_s: float | None = None) -> Left:
        """What is left of the rest (the rig's, unless another one is given) and of recycling."""
        rest = rig.aim.rest_s if rest_s is None else rest_s
        return Left(
            0.0 if self.shot_s is None else max(0.0, self.shot_s + rest - now_s),
            0.0 if self.flash_s is None else max(0.0, self.flash_s + find_recycle(rig) - now_s),
        )


def tell_waits(hub: Hub, waits: Waits, board: ListeningBoard, rig: Rig, pace: float) -> None:
    """Show until when Release waits: `resting`, gone when it is over, since a page's clock may be another."""
    left = waits.find_left(board.transport.clock(), rig)
    if not left.longest_s:
        hub.set(resting=None)
        return
    per_second_ms = 1e3 / (pace if board.simulated_rig is not None else 1.0)
    now_ms = time.time() * 1e3
    fresh = {
        "rest_until": now_ms + left.rest_s * per_second_ms if left.rest_s else None,
        "recycle_until": now_ms + left.recycle_s * per_second_ms if left.recycle_s else None,
    }
    shown = hub.get("resting") or {}
    if any(_has_moved(shown.get(name), value) for name, value in fresh.items()):
        hub.set(resting=fresh)


def _has_moved(shown: float | None, fresh: float | None) -> bool:
    if shown is None or fresh is None:
        return shown is not fresh
    return abs(shown - fresh) > _RETELL_MS
