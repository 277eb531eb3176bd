"""Textbook statistics: control charts, the scatter's own error, a trend's significance.

Control charts by the NIST/SEMATECH e-Handbook of Statistical Methods, section 6.3.2 (individuals
and moving range 6.3.2.2, EWMA 6.3.2.4). Quantiles come from scipy.
"""

from __future__ import annotations

import math
import statistics
from collections.abc import Sequence
from dataclasses import dataclass

D2 = 1.128  # mean range of 2 of a standard normal, as the e-Handbook uses it (exactly 2/√π)
D4 = 3.267  # upper limit of the moving range, in mean moving ranges
LAMBDA = 0.2  # weight of the newest value; the e-Handbook names 0.2 to 0.3
WIDTH = 3.0  # limits in standard deviations


@dataclass(frozen=True, slots=True)
class IndividualsChart:
    """Individuals with their moving ranges. `outside` are the indices beyond the limits."""

    centre: float
    sigma: float  # mean moving range / d2
    upper: float
    lower: float
    mean_range: float
    upper_range: float
    outside: tuple[int, ...]
    ranges: tuple[float, ...]
    ranges_outside: tuple[int, ...]  # indices of the later of the two values


def chart_individuals(values: Sequence[float]) -> IndividualsChart:
    """Return the chart of at least two values: centre ± 3·MR/1.128, ranges up to 3.267·MR."""
    ranges = tuple(abs(b - a) for a, b in zip(values, values[1:], strict=False))
    mean_range = math.fsum(ranges) / len(ranges)
    centre = math.fsum(values) / len(values)
    sigma = mean_range / D2
    upper, lower = centre + WIDTH * sigma, centre - WIDTH * sigma
    return IndividualsChart(
        centre=centre,
        sigma=sigma,
        upper=upper,
        lower=lower,
        mean_range=mean_range,
        upper_range=D4 * mean_range,
        outside=tuple(n for n, value in enumerate(values) if not lower <= value <= upper),
        ranges=ranges,
        ranges_outside=tuple(n + 1 for n, one in enumerate(ranges) if one > D4 * mean_range),
    )


@dataclass(frozen=True, slots=True)
class EwmaChart:
    """The exponentially weighted moving average; `half_widths` of the limits around `centre`."""

    centre: float
    values: tuple[float, ...]
    half_widths: tuple[float, ...]
    outside: tuple[int, ...]


def chart_ewma(
    values: Sequence[float], centre: float, sigma: float, weight: float = LAMBDA
) -> EwmaChart:
    """Return EWMA_t = λ·Y_t + (1 − λ)·EWMA_(t−1), begun at `centre`.

    The limits are ± 3·σ·√(λ/(2 − λ)·(1 − (1 − λ)^(2t))), which for large t are those of the
    e-Handbook.
    """
    averages, widths = [], []
    average = centre
    for number, value in enumerate(values, 1):
        average = weight * value + (1.0 - weight) * average
        averages.append(average)
        share = weight / (2.0 - weight) * (1.0 - (1.0 - weight) ** (2 * number))
        widths.append(WIDTH * sigma * math.sqrt(share))
    outside = tuple(
        n
        for n, (one, width) in enumerate(zip(averages, widths, strict=True))
        if abs(one - centre) > width
    )
    return EwmaChart(centre, tuple(averages), tuple(widths), outside)


@dataclass(frozen=True, slots=True)
class Spread:
    """Mean and standard deviation of `count` values, with the deviation's 95 % interval (normal values)."""

    count: int
    mean: float
    deviation: float
    low: float
    high: float


def measure_spread(values: Sequence[float]) -> Spread | None:
    """Return the spread of at least two values; None of fewer."""
    count = len(values)
    if count < 2:
        return None
    mean, deviation = statistics.fmean(values), statistics.stdev(values)
    freedom = count - 1
    low = deviation * math.sqrt(freedom / chi_square_quantile(0.975, freedom))
    high = deviation * math.sqrt(freedom / chi_square_quantile(0.025, freedom))
    return Spread(count, mean, deviation, low, high)


@dataclass(frozen=True, slots=True)
class Trend:
    """A straight line through the values: rise per unit of x with its standard error, and p.

    `p` is the chance of such a rise or fall without any trend (Student's t, two-sided); `change`
    over the whole range of x, `change_error` its standard error.
    """

    slope: float
    slope_error: float
    p: float
    change: float
    change_error: float
    freedom: int

    def interval(self) -> tuple[float, float]:
        """The slope's 95 % interval, by Student's t."""
        half = student_quantile(0.975, self.freedom) * self.slope_error
        return self.slope - half, self.slope + half


def fit_trend(places: Sequence[float], values: Sequence[float]) -> Trend | None:
    """Return the least-squares line; None with fewer than five values or with one place only."""
    count = len(values)
    if count < 5:
        return None
    mean_x, mean_y = math.fsum(places) / count, math.fsum(values) / count
    sxx = math.fsum((x - mean_x) ** 2 for x in places)
    if sxx <= 0.0:
        return None
    slope = (
        math.fsum((x - mean_x) * (y - mean_y) for x, y in zip(places, values, strict=True)) / sxx
    )
    rest = math.fsum(
        (y - mean_y - slope * (x - mean_x)) ** 2 for x, y in zip(places, values, strict=True)
    )
    error = math.sqrt(rest / (count - 2) / sxx)
    span = max(places) - min(places)
    exact = 1.0 if slope == 0.0 else 0.0
    p = exact if error == 0.0 else student_tail(slope / error, count - 2)
    return Trend(slope, error, p, slope * span, error * span, count - 2)


def chi_square_quantile(p: float, freedom: int) -> float:
    """Return the value that chi-square of `freedom` degrees stays below with probability p."""
    from scipy.special import (
        chdtri,  # the special functions alone: scipy.stats takes four times as long to load
    )

    return float(chdtri(freedom, 1.0 - p))


def student_tail(t: float, freedom: int) -> float:
    """Return the two-sided tail of Student's t: the chance of a value at least as far from 0."""
    from scipy.special import stdtr

    return float(2.0 * stdtr(freedom, -abs(t)))


def student_quantile(p: float, freedom: int) -> float:
    """Return the value that Student's t stays below with probability p."""
    from scipy.special import stdtrit

    return float(stdtrit(freedom, p))
