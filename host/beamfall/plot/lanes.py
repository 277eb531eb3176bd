"""Turns a shot's edges into the lanes of its timeline: bars from on to off, planned and measured."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from beamfall.setup.signals import Signal, SignalKind
from beamfall.shots.pulses import Pulse, read_pulses
from beamfall.shots.remarks import NO_LIGHT

_ON = ("on", "dark")


@dataclass(frozen=True)
class Lane:
    """One line of the board and what happened on it."""

    what: str
    planned: tuple[Pulse, ...]  # in ms; an end that was not seen is None
    measured: tuple[Pulse, ...]
    worst_ms: float | None  # largest difference measured - planned
    never_due: bool  # all its rows follow a beam edge that never came

    @property
    def kind(self) -> SignalKind:
        """The kind of the line."""
        return Signal.of(self.what).kind

    @property
    def label(self) -> str:
        """The name of the line in words."""
        return Signal.of(self.what).label


def make_lanes(record: Mapping[str, Any]) -> list[Lane]:
    """Return the lanes of a shot, one for each line that has edges, in the order of a shot."""
    hz = record["clock_hz"]
    edges = record["edges"]
    present = {edge["what"] for edge in edges}
    if any(NO_LIGHT in remark for remark in record.get("remarks", ())):
        present.add(Signal.light1.name)  # an empty lane shows it best
    lanes = []
    for name in (name for kind in SignalKind for name in kind.names if name in present):
        own = [edge for edge in edges if edge["what"] == name]
        differences = [
            edge["ticks"] - edge["planned_ticks"]
            for edge in own
            if edge["ticks"] is not None and edge["planned_ticks"] is not None
        ]
        worst = max(differences, key=abs) / hz * 1e3 if differences else None
        never_due = bool(own) and all(
            edge["planned_ticks"] is None and edge["ticks"] is None for edge in own
        )
        planned, measured = _pair(own, "planned_ticks", hz), _pair(own, "ticks", hz)
        lanes.append(Lane(name, planned, measured, worst, never_due))
    return lanes


@dataclass(frozen=True)
class Mark:
    """Something that a simulated rig knows to have happened at the surface, in ms."""

    time: float
    text: str
    contact: bool = False


def make_marks(record: Mapping[str, Any]) -> list[Mark]:
    """Return the impacts and the contact that the truth of a simulated rig holds, in time order."""
    truth = record.get("truth") or {}
    per_ms = record["clock_hz"] / 1e3
    marks = [
        Mark(drop["impact_ticks"] / per_ms, f"drop {number} strikes")
        for number, drop in enumerate(truth.get("drops", ()), 1)
        if drop.get("impact_ticks") is not None
    ]
    contact = truth.get("contact") or {}
    if contact.get("ticks") is not None:
        marks.append(Mark(contact["ticks"] / per_ms, "contact with the jet", contact=True))
    return sorted(marks, key=lambda mark: mark.time)


def _pair(edges: Sequence[Mapping[str, Any]], key: str, clock_hz: int) -> tuple[Pulse, ...]:
    """Put on and off together, in the order of `key`; an end that was not seen stays open."""
    seen = sorted(
        (
            (edge[key] / clock_hz * 1e3, edge["edge"] in _ON)
            for edge in edges
            if edge[key] is not None
        ),
        key=lambda item: item[0],
    )
    return tuple(read_pulses(seen))


def find_range(lanes: Sequence[Lane], marks: Sequence[Mark] = ()) -> tuple[float, float]:
    """Return the ends of the time axis in ms, the release and all edges well inside."""
    times = [
        time
        for lane in lanes
        for bar in (*lane.planned, *lane.measured)
        for time in (bar.start, bar.end)
        if time is not None
    ]
    times += [mark.time for mark in marks]
    low, high = min([0.0, *times]), max([1.0, *times])
    margin = 0.03 * (high - low)
    return low - margin, high + margin
