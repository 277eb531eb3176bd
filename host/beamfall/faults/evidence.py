"""Turns what the board sees into outcomes: raw edges in, names of outcomes out. Needs no board."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from beamfall.events import Edge, Readings
from beamfall.faults.setup import Expectation
from beamfall.shots.coil_readings import judge_opening
from beamfall.shots.pulses import read_pulses

_SMALL = 0.75  # of the expected dwell: the file's uncertainties do not reach that far
_LARGE = 1.8
_SATELLITE_S = 0.12  # a shorter pulse this soon after a drop belongs to it
_PHASES = 3  # more pulses than a drop and two satellites are not drops
_AFTER_OPENING_S = 0.003  # a pulse that the supply makes begins while the valve is driven
_FINGER_S = 0.06  # a finger darkens a beam for longer than any drop
_STEADY = 0.12  # spread of dwells between drops, as a share
_FADED = 0.85  # the last drop's dwell, as a share of the first's
_LONG_LIGHT = 4.0  # times the rig file's duration
_SATELLITES = 2  # behind one drop
# Drops that fall by themselves are the same size: their dwells are within this ratio (our choice).
_ALIKE = 1.5
# Share of the expected dwell: such a drop hangs until it is heavy, one that is let go may be smaller (our choice).
_OWN_DROP = (0.5, 2.5)
_APART_S = 0.05  # a nozzle that lets go of drops faster than that lets a stream out (our choice)
# A stream breaks up into drops 1.9 of its diameters wide and 4.5 apart (Rayleigh, Proc. London Math. Soc. 10, 1878,
# from memory): dark for two fifths of the time and more.
_STREAM_DARK = 0.3


@dataclass(frozen=True)
class Pulse:
    """A time during which a line was not at rest, with both ends seen; s from the start of the record."""

    start_s: float
    length_s: float
    dark: bool


def find_pulses(edges: Iterable[Edge], signal: int, clock_hz: int, resting: int) -> list[Pulse]:
    """Return the pulses of a line that rests at a level; pulses with an end that was not seen are left out."""
    own = ((edge.ticks, edge.level != resting) for edge in edges if edge.signal == signal)
    return [
        Pulse(pulse.start / clock_hz, pulse.length / clock_hz, dark=not resting)
        for pulse in read_pulses(own)
        if pulse.start is not None and pulse.length is not None
    ]


def share_dark(
    edges: Iterable[Edge], signal: int, clock_hz: int, *, dark: bool, seconds: float
) -> float:
    """The share of a record of `seconds` for which a line was dark; `dark`: its state at the start."""
    total = since = 0
    level = int(dark)
    for edge in edges:
        if edge.signal == signal and edge.level != level:
            total += (edge.ticks - since) * level
            since, level = edge.ticks, edge.level
    return total / clock_hz / seconds + level * max(0.0, 1.0 - since / clock_hz / seconds)


def are_drops(pulses: Sequence[Pulse], expected: Expectation | None) -> bool:
    """Whether drops that fall by themselves could have made these pulses.

    Such drops come one at a time and are all the same size, some with small ones right behind. The pulses of a loose
    contact are of any length and come in bursts.
    """
    mains: list[Pulse] = []
    behind = 0
    for pulse in pulses:
        if mains and _is_satellite(pulse, mains[-1]):
            behind += 1
            if behind > _SATELLITES:
                return False
            continue
        if mains and pulse.start_s - mains[-1].start_s < _APART_S:
            return False
        mains.append(pulse)
        behind = 0
    lengths = [pulse.length_s for pulse in mains]
    if not lengths or max(lengths) > _ALIKE * min(lengths):
        return False
    if expected is None:
        return True
    least, most = (share * expected.dwell_s for share in _OWN_DROP)
    return least <= min(lengths) and max(lengths) <= most


def _is_satellite(pulse: Pulse, main: Pulse) -> bool:
    """Whether it comes right behind a drop and is shorter."""
    soon = 0.0 < pulse.start_s - main.start_s < _SATELLITE_S
    return soon and pulse.length_s < 0.8 * main.length_s


def judge_rest(
    pulses: Sequence[Pulse],
    expected: Expectation | None,
    *,
    dark: bool,
    changed: bool,
    dark_share: float,
) -> str:
    """Outcome of `rest`: the beam's state with nothing released, and, if it `changed`, what can cause that."""
    if not changed:
        return "dark" if dark else "clear"
    if are_drops(pulses, expected):
        return "drops"
    return "much-dark" if dark_share > _STREAM_DARK else "flicker"


def split_opening(pulses: Sequence[Pulse], opening_s: float) -> tuple[list[Pulse], list[Pulse]]:
    """Separate the pulses that began while the valve was driven, before a drop could be there, from the rest."""
    at_opening = [p for p in pulses if p.start_s < opening_s + _AFTER_OPENING_S]
    return at_opening, [p for p in pulses if p not in at_opening]


def find_main(pulses: Sequence[Pulse], expected: Expectation | None) -> Pulse | None:
    """Return the drop's pulse: the first one that comes when a drop should."""
    for pulse in pulses:
        if expected is None:
            return pulse
        in_time = expected.earliest_s <= pulse.start_s <= expected.latest_s
        if in_time and pulse.length_s <= _LARGE * expected.dwell_s:
            return pulse
    return None


def leave_out_uncounted(
    pulses: Sequence[Pulse], expected: Expectation | None, *, blanking_s: float, dwell_s: float
) -> list[Pulse]:
    """The pulses that a shot would count; the others come within the blanking after the drop, or are too short."""
    main = find_main(pulses, expected)

    def counts(pulse: Pulse) -> bool:
        blanked = main is not None and 0.0 < pulse.start_s - main.start_s < blanking_s
        return pulse is main or (pulse.length_s >= dwell_s and not blanked)

    return [pulse for pulse in pulses if counts(pulse)]


def judge_drip(pulses: Sequence[Pulse], expected: Expectation | None) -> str:
    """Outcome of `drip-beam` from the beam's pulses after one opening (without those at the opening)."""
    if not pulses:
        return "none"
    if len(pulses) > _PHASES:
        return "busy"
    main = find_main(pulses, expected)
    if main is None:
        return "off-time" if len(pulses) == 1 else "busy"
    if not main.dark:
        return "inverted"
    others = [pulse for pulse in pulses if pulse is not main]
    if others:
        return "extra" if all(_is_satellite(pulse, main) for pulse in others) else "stray"
    if expected is not None and main.length_s < _SMALL * expected.dwell_s:
        return "small"
    return "on-time"


def judge_coil(opening: Readings) -> dict[str, str]:
    """Outcomes of `drip-coil` and `drip-supply` from the readings around one opening; none if there are too few."""
    action = judge_opening(opening)
    if action is None:
        return {}
    moved = "still" if action.pulled_ticks is None else "moved"
    holds = "sags" if action.sags else "holds"
    return {
        "drip-coil": moved if action.has_current else "none",
        "drip-supply": holds if action.has_supply else "absent",
    }


def judge_repeat(dwells_s: Sequence[float | None]) -> str:
    """Outcome of `repeat` from the dwell of each drop in a row; None if the beam saw none."""
    seen = [dwell for dwell in dwells_s if dwell is not None]
    if not seen:
        return "none"
    first_gap = dwells_s.index(None) if None in dwells_s else len(dwells_s)
    ends = all(dwell is None for dwell in dwells_s[first_gap:])
    falls = all(b <= 1.03 * a for a, b in zip(seen, seen[1:], strict=False))
    if first_gap and ends and falls and (None in dwells_s or seen[-1] < _FADED * seen[0]):
        return "fading"
    if None in dwells_s or max(seen) > (1.0 + _STEADY) * min(seen):
        return "scattered"
    return "steady"


def judge_lights(lit: Sequence[bool]) -> str:
    """Outcome of `flash-light` from whether each of two flashes gave light."""
    first, second = lit
    if first:
        return "both" if second else "first-only"
    return "second-only" if second else "none"


def judge_length(lengths_s: Sequence[float], duration_s: float) -> str | None:
    """Outcome of `flash-length`; None if no light was seen."""
    if not lengths_s:
        return None
    return "long" if max(lengths_s) > _LONG_LIGHT * duration_s else "short"


def judge_finger(pulses: Sequence[Pulse]) -> str:
    """Outcome of `finger` from the beam's pulses while a finger passed three times."""
    passes = [pulse for pulse in pulses if pulse.length_s >= _FINGER_S]
    if not passes:
        return "none"
    return "edges" if passes[0].dark else "inverted"


def count_densest(ticks: Sequence[int], span: int) -> int:
    """The largest number of events within any `span`; `ticks` are in ascending order."""
    most = first = 0
    for last, when in enumerate(ticks):
        while when - ticks[first] > span:
            first += 1
        most = max(most, last - first + 1)
    return most


def judge_delay(delay_s: float, expected_s: tuple[float, float]) -> str:
    """Outcome of `setting-delay`; the plan's interval has a margin on either side."""
    low, high = expected_s
    margin = 0.25 * (high - low) + 0.005
    if delay_s < low - margin:
        return "short"
    return "long" if delay_s > high + margin else "fits"
