"""Looks for a drift of the drops after each shot, on its own thread, and corrects the timings at one press."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import TYPE_CHECKING

from beamfall.errors import BeamfallError, UserError
from beamfall.page.hub import Hub
from beamfall.page.words import say_trend
from beamfall.shots import ShotLog
from beamfall.workflows.trend import Trend, find_trend

if TYPE_CHECKING:
    from beamfall.page.desk import Desk


class Trends:
    """Puts the newest trend on the hub, as the section `trend`."""

    def __init__(self, hub: Hub, desk: Desk) -> None:
        self._hub = hub
        self._desk = desk
        self._thread = ThreadPoolExecutor(1, thread_name_prefix="trend")
        self._newest = 0
        self.found: Trend | None = None

    def close(self) -> None:
        """End the thread."""
        self._thread.shutdown(wait=False, cancel_futures=True)

    def look_later(self, log_path: Path, shot: int, plan: int) -> None:
        """Look at a shot that has just been fired with the desk's plan of that number."""
        self._newest = shot
        self._thread.submit(self._look, log_path, shot, plan)

    def _look(self, log_path: Path, shot: int, plan: int) -> None:
        if shot != self._newest:
            return  # a newer one is waiting
        try:
            with ShotLog.open(log_path, read_only=True) as log:
                self.found = find_trend(log, shot, self._desk.learned)
        except BeamfallError:
            self.found = None  # the log says in its own view what is wrong with it
        except Exception as error:
            self.found = None
            self._hub.notice("error", self._hub.report_fault(error))
        found = self.found
        shown = None if found is None else {"shot": shot, "plan": plan, **say_trend(found)}
        self._hub.set(trend=shown)

    def correct(self, shot: int) -> None:
        """Apply the trend that was shown after a shot; raises UserError if it is no longer the newest."""
        found, shown = self.found, self._hub.get("trend")
        if (
            found is None
            or shown is None
            or found.shot != shot
            or shown["plan"] != self._desk.number
        ):
            raise UserError(
                "the timings have changed since this correction was calculated: fire another shot"
            )
        self._desk.shift_timings(found.correction.spacing_s, found.correction.delay_s)
        self._hub.set(trend=None)
