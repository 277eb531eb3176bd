"""Puts the board's news on the hub for all pages: its state, beams, edges, ends of shots, what Release waits for."""

from __future__ import annotations

import time
from typing import Any

from beamfall.board import Status
from beamfall.events import EdgesSeen, Event, ShotDone, StateChanged, Trouble
from beamfall.page.drawing import find_shifts
from beamfall.page.hub import Hub
from beamfall.page.listening import ListeningBoard
from beamfall.page.words import describe_cause, describe_edges
from beamfall.setup.rig import Rig
from beamfall.setup.signals import SignalKind
from beamfall.workflows.waits import Waits

_SEEN_MOST = 200  # edges of a shot that the drawing follows while it runs


class BoardNews:
    """Passes reports to the hub. `clock_hz` is the board's, once it is known."""

    def __init__(self, hub: Hub) -> None:
        self._hub = hub
        self.clock_hz = 1
        self._release = 0  # of the shot that runs, and its edges
        self._seen: list[tuple[str, float, bool]] = []

    def take(self, events: list[Event]) -> None:
        """Take events as they come."""
        hz = self.clock_hz
        for event in events:
            if isinstance(event, StateChanged):
                self._live(state=event.state.label, cause=describe_cause(event.cause))
                self._hub.tell(
                    "state", state=event.state.label, cause=event.cause.label,
                    release=event.release, ms=event.ticks / hz * 1e3,
                )  # fmt: skip
            elif isinstance(event, EdgesSeen):
                self._hub.tell(
                    "edges", activity=event.activity.label, edges=describe_edges(event, hz),
                    shifts=self._find_shifts(event) if event.activity.name == "shot" else [],
                )  # fmt: skip
                # The last of each beam is how it stands.
                newest = {
                    e.signal.name: e.word for e in event.edges if e.signal.kind is SignalKind.BEAM
                }
                for beam, word in newest.items():
                    self._live_beam(beam, word)
            elif isinstance(event, ShotDone):
                self._hub.tell("done", activity=event.activity.label, state=event.state.label)
            elif isinstance(event, Trouble):
                # While a question is open, somebody is working at the rig: a note is enough.
                asking = (self._hub.get("job") or {}).get("question")
                self._hub.notice("note" if asking else "caution", f"The board says: {event.text}")

    def take_status(self, status: Status) -> None:
        """Take the board's status."""
        beams = dict((self._hub.get("live") or {}).get("beams", {}))
        for number, beam in enumerate(SignalKind.BEAM.names, 1):
            if beam in beams:
                beams[beam] = "dark" if status.beams_dark >> (number - 1) & 1 else "clear"
        self._live(
            state=status.state.label,
            cause=describe_cause(status.cause),
            table=status.table.label,
            activity=status.activity.label,
            beams=beams,
        )

    def _find_shifts(self, event: EdgesSeen) -> list[float | None]:
        """How much later than planned the drops of the shot that runs came so far."""
        if event.release != self._release:  # the end of the shot before may not have been reported
            self._release, self._seen = event.release, []
        self._seen += [
            (e.signal.name, e.ticks / self.clock_hz * 1e3, bool(e.level)) for e in event.edges
        ]
        del self._seen[_SEEN_MOST:]
        drawn = None
        for shown in ("plan", "shot"):  # as in rigdraw.js
            drawn = (self._hub.get(shown) or {}).get("trace") or drawn
        return [] if drawn is None else find_shifts(drawn, self._seen)

    def _live(self, **values: Any) -> None:
        self._hub.set(live={**(self._hub.get("live") or {}), **values})

    def _live_beam(self, beam: str, word: str) -> None:
        live = self._hub.get("live") or {}
        if beam in live.get("beams", {}):
            self._live(beams={**live["beams"], beam: word})


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
