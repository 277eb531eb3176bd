"""A shot in one line, for the terminal and the page."""

from __future__ import annotations

from typing import TYPE_CHECKING

from beamfall.units import format_ticks

if TYPE_CHECKING:
    from beamfall.shots.record import ShotRecord


def describe_record(record: ShotRecord) -> str:
    """Return a shot in one line: state, when the anchor edge and the flash came, what was seen."""
    hz = record.clock_hz
    parts = [f"shot {record.shot}: {record.state}"]
    if record.cause is not None:
        parts[0] += f" ({record.cause})"
    flash = next(
        (edge for edge in record.edges if edge.what.startswith("flash") and edge.edge == "on"), None
    )
    if record.anchor_beam is not None:
        drops = [
            e.ticks
            for e in record.edges
            if e.what == record.anchor_beam and e.edge == record.anchor_edge
        ]
        times = ", ".join(format_ticks(ticks, hz) for ticks in drops)
        parts.append(
            f"{record.anchor_beam} {record.anchor_edge} at {times}"
            if drops
            else "nothing in the beam"
        )
    if flash is not None and flash.ticks is not None:
        parts.append(f"flash at {format_ticks(flash.ticks, hz)}")
        if flash.planned_ticks is not None:
            parts.append(f"off by {flash.ticks - flash.planned_ticks} ticks")
    for seen in (record.truth or {}).get("pictures", ()):
        stage = "" if seen["stage_ms"] is None else f", {seen['stage_ms']:+.2f} ms from contact"
        parts.append(f"the picture would show: {seen['shows']}{stage}")
    return "; ".join(parts)
