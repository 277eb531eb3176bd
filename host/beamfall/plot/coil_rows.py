"""What the board measured around each opening, as two rows of the timeline: coil current and supply voltage."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from beamfall.events import Readings
from beamfall.plot.scene import Dots, Line, Note, Row, Shape, View
from beamfall.setup.signals import Signal, SignalKind
from beamfall.shots.coil_readings import find_opened, judge_opening

_ROLE = "valve"
_ROOM = 1.4  # above the supply's curve, which lies at its highest most of the time
_LOW, _HEIGHT = 0.38, 0.76  # of a curve in its row: rows are 1 apart and counted downwards


class CoilRows:
    """The two rows of one shot's record; none if the board measured nothing."""

    def __init__(self, record: Mapping[str, Any]) -> None:
        self._per_ms = record["clock_hz"] / 1e3
        self._parts = [
            Readings(
                one["start_ticks"],
                one["spacing_ticks"],
                tuple(one["current_ma"]),
                tuple(one["supply_mv"]),
            )
            for one in record.get("readings", ())
        ]
        self._opened = sorted(
            edge["ticks"]
            for edge in record["edges"]
            if edge["edge"] == "on"
            and edge["ticks"] is not None
            and Signal.of(edge["what"]).kind is SignalKind.VALVE
        )
        self._actions = [judge_opening(one) for one in self._parts]
        self._highest_ma = max((max(one.current_ma, default=0) for one in self._parts), default=0)
        self._highest_mv = max((max(one.supply_mv, default=0) for one in self._parts), default=0)

    def list_rows(self) -> list[Row]:
        actions = [one for one in self._actions if one is not None]
        if not actions:
            return []
        dead = any(not one.has_current for one in actions)
        lowest, highest = min(a.lowest_mv for a in actions), max(a.supply_mv for a in actions)
        poor = any(one.sags or not one.has_supply for one in actions)
        most = max(one.highest_ma for one in actions)
        return [
            Row("coil current", _ROLE, "none" if dead else f"up to {most:.0f} mA", alert=dead),
            Row("supply", _ROLE, f"{lowest / 1e3:.1f} to {highest / 1e3:.1f} V", alert=poor),
        ]

    def list_shapes(self, y: int) -> Iterator[Shape]:
        """Curves from 0 up to the highest value; the rows are at y and y + 1."""
        if not self.list_rows():
            return
        for part, action in zip(self._parts, self._actions, strict=True):
            times = self._times(part)
            half = part.spacing_ticks / 2 / self._per_ms  # a voltage is read after its current
            yield Line(_ROLE, times, _curve(part.current_ma, self._highest_ma, y))
            later = tuple(time + half for time in times)
            room = round(_ROOM * self._highest_mv)
            yield Line(_ROLE, later, _curve(part.supply_mv, room, y + 1))
            begun = find_opened(part, self._opened)
            if action is None or action.pulled_ticks is None or begun is None:
                continue
            at = (action.pulled_ticks - part.start_ticks) // part.spacing_ticks
            height = _curve(part.current_ma[at : at + 1], self._highest_ma, y)
            moved = f"plunger moved after {(action.pulled_ticks - begun) / self._per_ms:.1f} ms"
            time = action.pulled_ticks / self._per_ms
            yield Dots(_ROLE, (time,), height, "dot", (moved,))
            yield Note("ink", times[-1], y, moved)

    def list_views(self, y: tuple[float, float]) -> Iterator[View]:
        """A closer view of each opening."""
        for number, part in enumerate(self._parts, 1):
            times = self._times(part)
            if times:
                yield View(f"Opening {number}", (times[0], times[-1]), y)

    def _times(self, part: Readings) -> tuple[float, ...]:
        return tuple(
            (part.start_ticks + at * part.spacing_ticks) / self._per_ms
            for at in range(len(part.current_ma))
        )


def _curve(values: Sequence[int], highest: int, y: int) -> tuple[float, ...]:
    return tuple(y + _LOW - _HEIGHT * value / max(highest, 1) for value in values)
