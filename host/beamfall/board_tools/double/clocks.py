"""The ratio of the double's clock to the controller's, from pulses that the controller sends over a wire.

Two crystals of 30 ppm may differ by 60 ppm: 30 µs in half a second. So the double's times are converted to the
controller's clock, by a straight line fitted to its stamps of pulses whose ticks on the controller are known.
"""

from __future__ import annotations

import math
from collections.abc import Sequence as SequenceOf
from dataclasses import dataclass
from typing import Any

from beamfall.board_tools.double.bench import Bench
from beamfall.board_tools.errors import BenchError
from beamfall.setup.limits import BoardLimits
from beamfall.setup.sequence import Row, Sequence
from beamfall.setup.signals import Signal, SignalKind
from beamfall.shots.pulses import find_times

# No duty limit; first fitted one counts
_LINES = (Signal.focus.name, Signal.shutter.name, Signal.flash1.name)
_LEAD_S = 0.02
_WIDTH_S = 0.002
_PULSES = 40
_STEP_S = 3.0 / (_PULSES - 1)


@dataclass(frozen=True, slots=True)
class ClockRatio:
    """Ticks of the double for one tick of the controller, with its standard uncertainty.

    `nominal` is the ratio that both clocks report. `pulses` over `span_s` seconds; `residual_s` is the standard
    deviation of the stamps from the line.
    """

    ratio: float
    uncertainty: float
    nominal: float
    pulses: int
    span_s: float
    residual_s: float

    @property
    def ppm(self) -> float:
        """How much faster the double's clock runs than the controller's, in parts per million."""
        return (self.ratio / self.nominal - 1.0) * 1e6

    @property
    def uncertainty_ppm(self) -> float:
        """Standard uncertainty of `ppm`."""
        return self.uncertainty / self.nominal * 1e6

    def to_dict(self) -> dict[str, Any]:
        """JSON-ready."""
        return {
            "ratio": self.ratio,
            "uncertainty": self.uncertainty,
            "ppm": self.ppm,
            "uncertainty_ppm": self.uncertainty_ppm,
            "pulses": self.pulses,
            "span_s": self.span_s,
            "residual_s": self.residual_s,
        }


def measure_ratio(bench: Bench) -> ClockRatio:
    """Have the controller send pulses at known ticks and fit the double's stamps of them.

    Raises BenchError if a pulse does not arrive.
    """
    outputs = BoardLimits.from_welcome(bench.controller.info).outputs
    line = next((name for name in _LINES if name in outputs), None)
    if line is None:
        raise BenchError(
            f"the controller has none of {', '.join(_LINES)}, so it cannot send pulses"
        )
    rows = tuple(Row("release", 0, line, _LEAD_S + n * _STEP_S, _WIDTH_S) for n in range(_PULSES))
    sequence = Sequence(rows=rows, tail_s=0.05)
    outcome, seen = bench.shoot_watched(bench.controller, sequence, bench.double)
    target = "light1" if Signal.of(line).kind is SignalKind.FLASH else "beam2"
    theirs = find_times(seen, Signal.of(target))
    info, other = bench.controller.info, bench.double.info
    # A command is not yet an edge there: use the board's own stamps
    if info.timing.name == "interrupt":
        mine = find_times(outcome.edges, Signal.of(line))
    else:
        mine = [row.delay_ticks for row in sequence.make_table(info).rows]
    if len(theirs) != len(mine):
        raise BenchError(
            f"the double saw {len(theirs)} of {len(mine)} pulses from the controller's {line}: run the self-test "
            "of the wires first"
        )
    grain = math.hypot(
        other.stamp_ticks, info.stamp_ticks if info.timing.name == "interrupt" else 1
    )
    return fit_ratio(mine, theirs, info.clock_hz, other.clock_hz, grain / math.sqrt(12.0))


def fit_ratio(
    mine: SequenceOf[int], theirs: SequenceOf[int], my_hz: int, their_hz: int, grain: float
) -> ClockRatio:
    """Fit a line to ticks of one clock over ticks of the other, by least squares.

    The slope's standard uncertainty is s/√Σ(x−x̄)², with s the standard deviation of the residuals
    (n−2 degrees of freedom), but no less than `grain`, that of the stamps' own steps.
    """
    count = len(mine)
    if count < 3:
        raise BenchError(f"{count} pulses are too few for a ratio; it needs at least 3")
    # Integers until the sums are small: floats would lose ticks at 10^9.
    x0, y0 = mine[0], theirs[0]
    xs = [x - x0 for x in mine]
    # Subtract the nominal slope first, so that the remainder is small.
    ys = [(y - y0) - x * their_hz / my_hz for x, y in zip(xs, theirs, strict=True)]
    x_mean, y_mean = math.fsum(xs) / count, math.fsum(ys) / count
    spread = math.fsum((x - x_mean) ** 2 for x in xs)
    slope = math.fsum((x - x_mean) * (y - y_mean) for x, y in zip(xs, ys, strict=True)) / spread
    left = math.fsum((y - y_mean - slope * (x - x_mean)) ** 2 for x, y in zip(xs, ys, strict=True))
    residual = math.sqrt(left / (count - 2))
    nominal = their_hz / my_hz
    return ClockRatio(
        ratio=nominal + slope,
        uncertainty=max(residual, grain) / math.sqrt(spread),
        nominal=nominal,
        pulses=count,
        span_s=(mine[-1] - mine[0]) / my_hz,
        residual_s=residual / their_hz,
    )
