"""Changes the flash delay of a finished plan: the rest of the plan does not depend on it."""

from __future__ import annotations

from dataclasses import replace

from beamfall.planning.result import Caution, CautionKind, Interval, Plan
from beamfall.planning.rows import EARLIEST_S, keep_open
from beamfall.setup.sequence import Row, Sequence
from beamfall.setup.signals import SignalKind


def with_flash_delay(plan: Plan, delay_s: float) -> Plan | None:
    """The same plan with the flash `delay_s` after its anchor's edge, as planning again would give it.

    None if only planning again can tell: a flash is, or would be, at the earliest moment that a board allows, or
    has a delay of its own.
    """
    if plan.has_fixed_flash:
        return None
    by_s = delay_s - plan.flash_delay_s
    sequence = _move_flashes(plan.sequence, by_s)
    if sequence is None:
        return None
    interval = plan.intervals.get("flash_delay_at_planned_spacing")
    warnings = [one for one in plan.warnings if one.kind is not CautionKind.FLASH_DELAY]
    warnings += warn_of_delay(delay_s, interval)
    return replace(plan, sequence=sequence, flash_delay_s=delay_s, warnings=tuple(warnings))


def warn_of_delay(delay_s: float, interval: Interval | None) -> list[Caution]:
    """A warning if a delay lies outside the plan's interval; none inside it or without one."""
    if interval is None:
        return []
    return warn_outside(CautionKind.FLASH_DELAY, "aim.flash_delay", delay_s, interval)


def warn_outside(kind: CautionKind, key: str, found_s: float, interval: Interval) -> list[Caution]:
    """A warning if a time that the rig's aim sets lies outside the plan's interval."""
    if interval.holds(found_s):
        return []
    text = (
        f"{key} = {found_s * 1e3:.2f} ms is outside the plan's {interval.p5 * 1e3:.1f} to "
        f"{interval.p95 * 1e3:.1f} ms"
    )
    values = {"found_s": found_s, "low_s": interval.p5, "high_s": interval.p95}
    return [Caution(kind, text, (key,), values)]


def _move_flashes(sequence: Sequence, by_s: float) -> Sequence | None:
    """Move every flash, and keep the camera open longer by the same time."""
    rows: list[Row] = []
    for row in sequence.rows:
        if row.kind is SignalKind.FLASH:
            delay_s = row.delay_s + by_s
            if min(row.delay_s, delay_s) <= EARLIEST_S:
                return None
            rows.append(replace(row, delay_s=delay_s))
        elif row.kind is SignalKind.CAMERA:
            rows.append(keep_open(row, by_s))
        else:
            rows.append(row)
    return replace(sequence, rows=tuple(rows))
