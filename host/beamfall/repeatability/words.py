"""What charts show, in words: which points lie beyond their limits, and whether anything drifts."""

from __future__ import annotations

from collections.abc import Sequence
from statistics import mean

from beamfall.repeatability.assess import Assessment, Quantity
from beamfall.repeatability.formulas import Spread, Trend
from beamfall.text import list_first

# Shares of normal values beyond three standard deviations, and of their moving ranges beyond D4 times the mean one.
BY_CHANCE = (
    "By chance alone, a steady rig gives about 3 unusual values in 1000, and about 9 sudden jumps "
    "in 1000."
)
SIMULATED = "simulated"  # the label of that class of timing in messages.toml
TOO_FEW = "Too few shots to say."  # of a quantity that has no spread yet
_NAMED_MOST = 12


def say_timing(timing: str) -> str:
    """A board's class of timing; for a simulated board, with what that means."""
    return (
        "simulated, which says nothing about the timing of real hardware"
        if timing == SIMULATED
        else timing
    )


def list_spread(name: str, spread: Spread) -> tuple[str, str, str]:
    """The mean of a quantity of that name, its scatter and the scatter's 95 % interval."""
    mean = f"{spread.mean * 1e6:+.1f} µs" if name == "spacing" else f"{spread.mean * 1e3:.3f} ms"
    interval = f"{spread.low * 1e6:.1f} to {spread.high * 1e6:.1f} µs"
    return mean, f"{spread.deviation * 1e6:.1f} µs", interval


def list_outside(assessment: Assessment) -> list[str]:
    """One text for each quantity that has points beyond its limits, naming their shots; empty: none has."""
    return [text for one in assessment.quantities if (text := _say_outside(one))]


def _say_outside(one: Quantity) -> str:
    if one.individuals is None or one.ewma is None:
        return ""
    parts = [
        f"{what} at {_name_shots([one.shots[n] for n in places])}"
        for what, places in (
            ("value", one.individuals.outside),
            ("sudden jump", one.individuals.ranges_outside),
            ("moving average", one.ewma.outside),
        )
        if places
    ]
    return f"{one.name} of {one.of}: {'; '.join(parts)}" if parts else ""


def say_plainly(one: Quantity) -> str:
    """A quantity for people who do not read charts: how much its values vary, and how the latest ones differ."""
    if one.spread is None or one.individuals is None or one.ewma is None:
        return TOO_FEW
    per_s = (
        None
        if one.scene_mm is None or not one.spread.deviation
        else one.scene_mm / one.spread.deviation
    )

    def size(seconds: float) -> str:
        times = f"{abs(seconds) * 1e3:.2f} ms"
        return times if per_s is None else f"{abs(seconds) * per_s:.2g} mm ({times})"

    last = _find_last(one.ewma.outside, len(one.values_s))
    count = len(one.values_s)
    said = f"About 95 % of shots lie within ±{size(_WITHIN * one.spread.deviation)}"
    said += f", judged from {count} shots." if count < _ENOUGH else "."
    if not last:
        return f"{said} The latest shots are like the others."
    earlier, newest = one.values_s[:-last], one.values_s[-last:]
    shift = mean(newest) - (mean(earlier) if earlier else one.individuals.centre)
    way, question = _WAYS[one.name][shift > 0.0]
    return f"{said} The last {last} {way} by {size(shift)}: {question}"


_ENOUGH = 20  # with fewer shots the scatter itself is uncertain by more than a sixth: 1/√(2·19)
_WITHIN = 1.96  # standard deviations that hold 95 % of a normal distribution
_WAYS = {  # smaller, larger
    "arrival": (
        ("came earlier", "was the bottle filled, or the nozzle moved?"),
        ("came later", "is the bottle low, or the valve warm?"),
    ),
    "dwell": (
        ("were smaller drops", "is the bottle low?"),
        ("were larger drops", "was the bottle filled, or is its cap loose?"),
    ),
    "spacing": (
        ("came closer together", "does the valve stick?"),
        ("came further apart", "does the valve stick?"),
    ),
}


def _find_last(outside: Sequence[int], count: int) -> int:
    """How many values at the end, without a gap, are among those outside."""
    known = set(outside)
    return next((n for n in range(count) if count - 1 - n not in known), count)


def _name_shots(shots: Sequence[int]) -> str:
    if len(shots) == 1:
        return f"shot {shots[0]}"
    return f"shots {list_first(shots, _NAMED_MOST)}"


def list_drifts(assessment: Assessment) -> list[str]:
    """How each quantity's values rise or fall, with 95 % intervals; those with too few shots are left out."""
    drifts = []
    for one in assessment.quantities:
        if one.by_shot is None:
            continue
        said = [say_slope(one.by_shot, 1e8, "µs per 100 shots", 1)]
        if one.trend_by_hour is not None:
            said.append(say_slope(one.trend_by_hour, 3.6e9, "µs per hour", 0))
        drifts.append(f"{one.name} of {one.of}: {', '.join(said)}")
    return drifts


def say_steady(assessment: Assessment) -> str:
    """One sentence if there are no findings: whether anything drifts, as far as this number of shots can show."""
    trends = _list_trends(assessment)
    if not trends:
        count = assessment.data.shots
        shots = "1 shot is" if count == 1 else f"{count} shots are"
        return f"{shots} too few to say whether anything drifts. Fire at least 5: --count 5"
    but = ", but some shots were unusual" if list_outside(assessment) else ""
    if any(_excludes_zero(one) for one in trends):
        return (
            "Something may drift: an interval above excludes 0, which happens by chance once in twenty. "
            f"More shots will tell{but}."
        )
    return f"No drift found, nothing missing{but}."


def is_steady(assessment: Assessment) -> bool:
    """Whether no trend excludes 0 and no point is beyond its limits; False if too few shots can say."""
    trends = _list_trends(assessment)
    return bool(trends) and not any(map(_excludes_zero, trends)) and not list_outside(assessment)


def _list_trends(assessment: Assessment) -> list[Trend]:
    return [one.by_shot for one in assessment.quantities if one.by_shot is not None]


def _excludes_zero(trend: Trend) -> bool:
    low, high = trend.interval()
    return low > 0.0 or high < 0.0


def say_slope(trend: Trend, factor: float, unit: str, digits: int) -> str:
    """A slope times `factor` with its 95 % interval, such as `+1.2 µs per 100 shots (95 %: -3.4 to +5.8)`."""
    low, high = trend.interval()
    return (
        f"{factor * trend.slope:+.{digits}f} {unit} "
        f"(95 %: {factor * low:+.{digits}f} to {factor * high:+.{digits}f})"
    )
