"""A shot in one line, for the terminal and the page."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from beamfall.setup.signals import SignalKind
from beamfall.setup.unit_words import format_duration, format_ticks
from beamfall.shots.record import EdgeRecord, ShotRecord
from beamfall.shots.remarks import list_remarks
from beamfall.text import list_first, say_count

_EDGES_MOST = 4  # more of them say no more


def describe_record(record: ShotRecord, *, sees_light: bool = True) -> str:
    """Return a shot in one line: state, when the anchor edge and the flash came, what was seen, what is odd.

    `sees_light`: a flash-seen sensor is fitted.
    """
    hz = record.clock_hz
    parts = [f"shot {record.shot}: {record.state}"]
    if record.cause is not None:
        parts[0] += f" ({record.cause})"
    flash = next(
        (edge for edge in record.edges if edge.kind is SignalKind.FLASH and edge.edge == "on"), None
    )
    if record.anchor_beam is not None:
        parts.append(_say_edges(record))
    if flash is not None and flash.ticks is not None:
        parts.append(
            f"{flash.what}'s contact at {format_ticks(flash.ticks, hz)}{_say_error(flash, hz)}"
        )
    parts += list_remarks(record, sees_light=sees_light)
    seen = list_seen(record)
    if seen:
        parts.append(f"the picture would show: {' and '.join(seen)}")
    return "; ".join(parts)


def describe_purpose(swept: Mapping[str, Any] | None) -> str:
    """Return what a shot was fired for, from its `swept`: a step of a sweep, a shot of a search; often empty."""
    match dict(swept or {}):
        case {"value_ms": int() | float() as value, **more}:
            return f"sweep: {more.get('of', '')} {value:.3f} ms"
        case {"seek": number}:
            return f"search: shot {number}"
        case {"recipe": name}:
            return f"recipe {name}"
        case {"drops": "today"}:
            return "today's drops, to correct a recipe"
        case {"warm_up": number}:
            return f"warm-up: {say_count(number, 'drop')}, no flash"
        case others:
            return ", ".join(f"{name.replace('_', ' ')} {value}" for name, value in others.items())


def list_seen(record: ShotRecord) -> list[str]:
    """What the flashes of a simulated shot show, without repeats: one picture holds them all."""
    shown = [_say_picture(p["shows"], p["stage_ms"]) for p in record.pictures]
    return list(dict.fromkeys(shown))


def _say_picture(shows: str, stage_ms: float | None) -> str:
    if stage_ms is None:
        return shows
    stage = f"{abs(stage_ms):.2f} ms {'before' if stage_ms < 0.0 else 'after'} contact"
    return stage if shows in ("before", "after") else f"{shows}, {stage}"


def _say_edges(record: ShotRecord) -> str:
    times = [
        format_ticks(e.ticks, record.clock_hz)
        for e in record.edges
        if e.what == record.anchor_beam and e.edge == record.anchor_edge and e.ticks is not None
    ]
    if not times:
        return "nothing in the beam"
    return f"{record.anchor_beam} {record.anchor_edge} at {list_first(times, _EDGES_MOST)}"


def _say_error(flash: EdgeRecord, hz: int) -> str:
    """How far the contact is from its plan; empty if its time was derived from the command."""
    if flash.planned_ticks is None or flash.ticks is None or flash.source != "stamped":
        return ""
    off = flash.ticks - flash.planned_ticks
    if off == 0:
        return ", as planned"
    return f", {'+' if off > 0 else '-'}{format_duration(abs(off) / hz)} from plan"
