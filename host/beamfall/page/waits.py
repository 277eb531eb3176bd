"""Shows until when Release waits for the surface and the flash, see `beamfall.workflows.waits`."""

from __future__ import annotations

import time
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from beamfall.page.hub import Hub
    from beamfall.page.listening import ListeningBoard
    from beamfall.setup.rig import Rig
    from beamfall.workflows.waits import Waits

_RETELL_MS = 300.0  # the end of a wait is shown again where it has moved by more than this


def tell_waits(hub: Hub, waits: Waits, board: ListeningBoard, rig: Rig, pace: float) -> None:
    """Show until when Release waits, as `resting`. It is removed at the end, since a page's clock may differ."""
    left = waits.find_left(board.transport.clock(), rig)
    if not left.longest_s:
        hub.set(resting=None)
        return
    per_second_ms = 1e3 / (pace if board.traits.is_virtual_time else 1.0)
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
