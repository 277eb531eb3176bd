"""The picture that the plan or the table on the desk would most likely show, drawn when a page asks for it."""

from __future__ import annotations

import threading
from typing import TYPE_CHECKING, Any

from beamfall.planning.unknowns import NAMES
from beamfall.ports import predict_picture

if TYPE_CHECKING:
    from beamfall.page.desk import Desk

PIXELS = 480  # of the longer side: half a second of one core


class Predictor:
    """Draws for the pages. Any thread may ask; one picture is drawn at a time, and the newest is kept."""

    def __init__(self, desk: Desk) -> None:
        self._desk = desk
        self._lock = threading.Lock()
        self._drawn: tuple[Any, bytes] | None = None

    def draw(self) -> bytes:
        """A JPEG; raises UserError if there is no plan, PhysicsRangeError for a rig beyond the physics."""
        with self._lock:
            asked = self._desk.asked
            if self._drawn is None or self._drawn[0] != asked:
                rig, sequence, learned = asked
                fitted = None if learned is None else learned.fit(rig)
                known = {} if fitted is None else dict(zip(NAMES, fitted[0].tolist(), strict=True))
                self._drawn = (
                    asked,
                    predict_picture(rig, sequence, known, PIXELS).jpeg,
                )
            return self._drawn[1]
