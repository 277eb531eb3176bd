"""Interprets the readings around an opening: was there current, when did the plunger move, did the supply hold.

The thresholds are our choice, for a converter with 12 bits and coils of 0.1 to 0.5 A.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from beamfall.events import Readings

_NO_CURRENT_MA = 25
# A notch is at least this deep, and this share of the highest current
_DIP_MA, _DIP_SHARE = 5.0, 0.02
_OFF_SHARE = 0.25  # of the highest current: below it the valve has been switched off
_ABSENT_MV = 4000  # no valve's supply is so low
_SAGS = 0.88  # of the voltage without load: a sound supply and its wires lose a few percent


@dataclass(frozen=True, slots=True)
class CoilAction:
    """What one opening did. Ticks count from the release.

    `pulled_ticks`: when the plunger had moved, at the lowest point of the current's notch; None: no notch was seen.
    """

    highest_ma: float
    pulled_ticks: int | None
    supply_mv: float
    lowest_mv: float

    @property
    def has_current(self) -> bool:
        """Whether the coil was driven at all."""
        return self.highest_ma >= _NO_CURRENT_MA

    @property
    def has_supply(self) -> bool:
        """Whether the valves' supply was on."""
        return self.supply_mv >= _ABSENT_MV

    @property
    def sags(self) -> bool:
        """Whether the supply's voltage fell too far."""
        return self.has_supply and self.lowest_mv < _SAGS * self.supply_mv


def judge_opening(readings: Readings) -> CoilAction | None:
    """Return what an opening did; None without readings."""
    currents, voltages = readings.current_ma, readings.supply_mv
    if len(currents) < 3:
        return None
    highest = sorted(currents)[-2]  # the very highest may be an outlier
    notch = _find_notch(currents, highest)
    smooth = [sorted(voltages[at : at + 3])[1] for at in range(len(voltages) - 2)]
    return CoilAction(
        highest_ma=highest,
        pulled_ticks=None
        if notch is None
        else readings.start_ticks + notch * readings.spacing_ticks,
        supply_mv=max(voltages[:3]) if not currents[0] else max(smooth),
        lowest_mv=min(smooth),
    )


def _find_notch(currents: Sequence[int], highest: float) -> int | None:
    """The lowest current between a first rise and a second, higher one."""
    if highest < _NO_CURRENT_MA:
        return None
    deep = max(_DIP_MA, _DIP_SHARE * highest)
    top, lowest, at = 0, 0, None
    for index, current in enumerate(currents):
        if top > 2 * _NO_CURRENT_MA and current < _OFF_SHARE * highest:
            return None  # switched off before it had risen again
        if current > top:
            if at is not None and top - lowest >= deep:
                return at
            top, lowest, at = current, current, None
        elif current < lowest:
            lowest, at = current, index
    return None


def find_opened(readings: Readings, opened: Sequence[int]) -> int | None:
    """Return which valve opening, in ticks, these readings belong to; None if to none of them."""
    end = readings.start_ticks + len(readings.current_ma) * readings.spacing_ticks
    return next((ticks for ticks in opened if readings.start_ticks <= ticks < end), None)


def describe_opening(readings: Readings, opened: Sequence[int], clock_hz: int) -> str:
    """Return what one opening did, as a clause."""
    action = judge_opening(readings)
    if action is None:
        return "too few readings"
    parts = [f"{action.highest_ma:.0f} mA" if action.has_current else "no current"]
    begun = find_opened(readings, opened)
    if action.pulled_ticks is not None and begun is not None:
        moved_ms = 1e3 * (action.pulled_ticks - begun) / clock_hz
        parts.append(f"plunger moved after {moved_ms:.1f} ms")
    parts.append(f"supply {action.lowest_mv / 1e3:.1f} of {action.supply_mv / 1e3:.1f} V")
    return ", ".join(parts)


def list_odd(readings: Sequence[Readings]) -> list[str]:
    """Return what a photographer should know, as clauses; empty if valve and supply are fine."""
    actions = [one for one in map(judge_opening, readings) if one is not None]
    if any(not one.has_supply for one in actions):
        return ["the valves' supply is off"]
    odd = []
    dead = sum(not one.has_current for one in actions)
    if dead:
        what = "a valve was" if dead == 1 else f"valves were {dead} times"
        odd.append(f"{what} driven but no current flowed: check its plug")
    lowest = min((one for one in actions if one.sags), key=lambda one: one.lowest_mv, default=None)
    if lowest is not None:
        odd.append(
            f"the valves' supply fell from {lowest.supply_mv / 1e3:.1f} to {lowest.lowest_mv / 1e3:.1f} V "
            "when a valve opened"
        )
    return odd
