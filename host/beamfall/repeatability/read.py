"""Reads from the log what each drop of each shot did: when it came, how long it took, what was missing."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from beamfall.errors import NoSuchShot, UserError
from beamfall.setup.signals import SignalKind
from beamfall.shots import ShotLog, ShotRecord
from beamfall.shots.pulses import (
    Pulse,
    assign_drops,
    find_drops,
    find_transit,
    find_usual_dwell,
    is_satellite,
    read_pulses,
)
from beamfall.shots.record import STAMPED, WARM_UP


@dataclass(frozen=True, slots=True)
class DropSeen:
    """One drop of one shot; times in s. `opened_s` from the release, `arrival_s` from the opening."""

    shot: int
    begun_s: float
    opened_s: float
    arrival_s: float
    dwell_s: float | None  # None: its clear edge was not seen


@dataclass(frozen=True, slots=True)
class SpacingSeen:
    """Two neighbouring drops of a shot: how far apart they came, and how far apart they were released."""

    shot: int
    begun_s: float
    measured_s: float
    commanded_s: float


@dataclass
class SeriesData:
    """A series as the beam saw it. `drops[n]` are drop n + 1 of every shot that showed it."""

    series: int
    kind: str
    beam: str
    rig: dict[str, Any] | None
    clock_hz: int
    timing: str
    shots: int = 0
    drops: list[list[DropSeen]] = field(default_factory=list)
    spacings: list[list[SpacingSeen]] = field(default_factory=list)
    missing: list[list[int]] = field(default_factory=list)  # shots where drop n + 1 did not come
    satellites: list[int] = field(default_factory=list)  # shots, once for each satellite
    # Shots, once for each drop that was not commanded.
    extra: list[int] = field(default_factory=list)
    flash_errors_s: list[float] = field(default_factory=list)  # measured minus planned
    flash_stamped: bool = True  # False: derived from the command, which proves nothing
    rows_late: int = 0
    worst_late_s: float = 0.0
    edges_lost: int = 0


@dataclass(slots=True)
class _Shot:
    shot: int
    begun_s: float
    hz: int
    counts: Mapping[str, int]
    openings: list[float] = field(default_factory=list)
    pulses: list[Pulse] = field(default_factory=list)
    flashes: list[tuple[float, bool]] = field(default_factory=list)


def read_series(log: ShotLog, series: int, beam: str | None = None) -> SeriesData:
    """Read a series; `beam` when left out is the one that the flash follows, else beam 1.

    Raises NoSuchShot if the series is not in the log or has no completed shot.
    """
    completed = [
        logged
        for logged in log.read_shots(series=series)
        if logged.record.counts and WARM_UP not in (logged.record.swept or {})
    ]
    if not completed:
        raise NoSuchShot(f"series {series} has no completed shot; `beamfall shots list`")
    first = completed[0]
    chosen = beam or first.record.anchor_beam or "beam1"
    data = SeriesData(
        series,
        log.read_series(series).kind,
        chosen,
        None if first.rig is None else dict(first.rig),
        first.record.clock_hz,
        first.record.timing,
    )
    shots = [_read_shot(logged.record, chosen) for logged in completed]
    if beam is not None and not any(shot.pulses for shot in shots):
        raise UserError(f"series {series}: {beam} saw nothing; remove --beam")
    _sort_into(data, shots)
    return data


def _read_shot(record: ShotRecord, beam: str) -> _Shot:
    hz = record.clock_hz
    shot = _Shot(record.shot or 0, (record.begun_us or 0) / 1e6, hz, record.counts)
    shot.pulses = read_pulses(
        (edge.ticks / hz, edge.edge == "dark")
        for edge in record.edges
        if edge.what == beam and edge.ticks is not None
    )
    for edge in record.edges:
        if edge.edge != "on":
            continue
        if edge.kind is SignalKind.VALVE and edge.time_ticks is not None:
            shot.openings.append(edge.time_ticks / hz)
        elif edge.kind is SignalKind.FLASH and None not in (edge.planned_ticks, edge.ticks):
            off = (edge.ticks or 0) - (edge.planned_ticks or 0)
            shot.flashes.append((off / hz, edge.source == STAMPED))
    return shot


def _sort_into(data: SeriesData, every: Sequence[_Shot]) -> None:
    # If edges are missing, it is unknown which drop the others belong to.
    shots = [shot for shot in every if not shot.counts.get("edges_missing")]
    data.edges_lost += sum(shot.counts.get("edges_missing", 0) for shot in every)
    usual_s = find_usual_dwell(pulse for shot in shots for pulse in shot.pulses)
    transit = find_transit([(shot.openings, find_drops(shot.pulses, usual_s)) for shot in shots])
    most = max((len(shot.openings) for shot in shots), default=0)
    data.drops = [[] for _ in range(most)]
    data.spacings = [[] for _ in range(max(0, most - 1))]
    data.missing = [[] for _ in range(most)]
    data.shots = len(shots)
    for shot in shots:
        data.satellites += [shot.shot for pulse in shot.pulses if is_satellite(pulse, usual_s)]
        drops = find_drops(shot.pulses, usual_s)
        came = assign_drops(shot.openings, drops, transit)
        data.extra += [shot.shot] * (len(drops) - sum(drop is not None for drop in came))
        for number, (opened, own) in enumerate(zip(shot.openings, came, strict=True)):
            if own is None:
                data.missing[number].append(shot.shot)
                continue
            seen = DropSeen(shot.shot, shot.begun_s, opened, own.dark_s - opened, own.dwell_s)
            data.drops[number].append(seen)
            before = came[number - 1] if number else None
            if before is not None:
                data.spacings[number - 1].append(
                    SpacingSeen(
                        shot.shot,
                        shot.begun_s,
                        own.dark_s - before.dark_s,
                        opened - shot.openings[number - 1],
                    )
                )
        data.flash_errors_s += [error for error, _ in shot.flashes]
        data.flash_stamped &= all(stamped for _, stamped in shot.flashes)
        data.rows_late += shot.counts.get("rows_late", 0)
        worst = shot.counts.get("worst_late_ticks", 0) / shot.hz
        data.worst_late_s = max(data.worst_late_s, worst)
        data.edges_lost += shot.counts.get("edges_lost", 0)
