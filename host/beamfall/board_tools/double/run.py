"""Shots with the double, and what it measured on its own clock."""

from __future__ import annotations

from collections.abc import Sequence as SequenceOf
from dataclasses import dataclass, field
from typing import Any

from beamfall.board_tools.double.bench import Bench
from beamfall.board_tools.double.clocks import ClockRatio
from beamfall.board_tools.double.drops import Pretence, pretend
from beamfall.board_tools.errors import BenchError
from beamfall.board_tools.measure import Distribution
from beamfall.events import Edge, Outcome
from beamfall.setup.limits import BoardLimits
from beamfall.setup.sequence import Row, Sequence
from beamfall.setup.signals import Signal, SignalKind
from beamfall.setup.table import count_beam_edges
from beamfall.shots.pulses import find_times
from beamfall.sim.model import RigModel

DELAYS_S = (0.001, 0.010, 0.085, 0.5)
_ARM_WINDOW_S = 4.0  # how long the double waits for the first valve


@dataclass(frozen=True)
class BenchShot:
    """One shot: what the double pretended, and what each board reported."""

    delay_s: float
    pretence: Pretence
    outcome: Outcome
    seen: tuple[Edge, ...]  # by the double, in its ticks

    @property
    def fault(self) -> str | None:
        """What the controller did, if it was wrong; None if all is well."""
        done = self.outcome.done
        got = (done.state.name, done.cause.name)
        late = got == ("fired", "late")  # the record holds the lateness, which is judged there
        if got != self.pretence.expected and not (late and self.pretence.expected[0] == "fired"):
            return f"{self.pretence.fault}: {' '.join(got)} instead of {' '.join(self.pretence.expected)}"
        if not self.outcome.complete or done.edges_lost:
            return f"{self.pretence.fault}: edges lost"
        return None


@dataclass
class BenchRun:
    """All shots, and errors in seconds on the controller's clock.

    `flash_error` by commanded delay: flash as the double saw it, minus its own beam pulse, minus the delay.
    `valve_error`: spacing of two valve openings as the double saw it, minus the commanded one.
    `stamp_error`: spacing of two beam edges as the controller stamped it, minus the double's.
    """

    ratio: ClockRatio
    shots: list[BenchShot] = field(default_factory=list)
    flash_error: dict[float, list[float]] = field(default_factory=dict)
    valve_error: list[float] = field(default_factory=list)
    stamp_error: list[float] = field(default_factory=list)

    @property
    def faults(self) -> list[str]:
        """What went wrong; empty if all is well."""
        return [
            f"shot {number}: {shot.fault}"
            for number, shot in enumerate(self.shots, 1)
            if shot.fault
        ]

    def distributions(self) -> dict[str, Distribution]:
        """Every kind of error that was measured, by name."""
        named = {
            f"flash after beam, {delay * 1e3:g} ms": errors
            for delay, errors in sorted(self.flash_error.items())
        }
        named |= {"valve spacing": self.valve_error, "beam stamps": self.stamp_error}
        return {name: Distribution(tuple(errors)) for name, errors in named.items() if errors}

    def uncertainty_s(self, delay_s: float) -> float:
        """Standard uncertainty that the clock ratio adds to a time of that length."""
        return delay_s * self.ratio.uncertainty / self.ratio.nominal

    def to_dict(self) -> dict[str, Any]:
        """JSON-ready."""
        return {
            "clock_ratio": self.ratio.to_dict(),
            "shots": len(self.shots),
            "faults": self.faults,
            "pretended": [shot.pretence.fault for shot in self.shots],
            "errors": {name: found.to_dict() for name, found in self.distributions().items()},
            "clock_uncertainty_s": {f"{d:g}": self.uncertainty_s(d) for d in self.flash_error},
        }


def make_two_drops(opening_s: float, delay_s: float, *, blanking_s: float = 0.02) -> Sequence:
    """Two drops 110 ms apart and a flash that long after each, or only after the second if one flash cannot."""
    spacing = 0.11
    counts = (1, 2) if delay_s < blanking_s / 2 else (2,)
    rows = [Row("release", 0, "valve1", 0.005 + n * spacing, opening_s) for n in range(2)]
    rows += [Row("beam1", count, "flash1", delay_s, 0.002) for count in counts]
    return Sequence(
        rows=tuple(rows), window_s=1.5, tail_s=0.05, blanking_s=blanking_s, await1=2, name="bench"
    )


def run_shots(
    bench: Bench,
    model: RigModel,
    ratio: ClockRatio,
    *,
    opening_s: float,
    faults: SequenceOf[str] = ("none",),
    repeats: int = 4,
    delays_s: SequenceOf[float] = DELAYS_S,
    seed: int = 0,
) -> BenchRun:
    """Shoot every delay with every fault, `repeats` times, each with its own scatter."""
    run = BenchRun(ratio)
    for _ in range(repeats):
        for delay in delays_s:
            for fault in faults:
                shot = _shoot(bench, model, ratio, make_two_drops(opening_s, delay), delay,
                              seed=seed + len(run.shots), fault=fault)  # fmt: skip
                run.shots.append(shot)
                _take_errors(run, bench, shot, make_two_drops(opening_s, delay))
    return run


def _shoot(
    bench: Bench,
    model: RigModel,
    ratio: ClockRatio,
    sequence: Sequence,
    delay_s: float,
    *,
    seed: int,
    fault: str,
) -> BenchShot:
    limits = BoardLimits.from_welcome(bench.controller.info)
    pretence = pretend(model, sequence, limits, seed=seed, fault=fault)
    answer = pretence.make_answer(ratio.ratio / ratio.nominal, _ARM_WINDOW_S)
    if answer is None:
        outcome, seen = bench.shoot_watched(bench.controller, sequence, bench.double)
        return BenchShot(delay_s, pretence, outcome, seen)
    # Upload first: a table takes time to send, and the window is short
    mine = bench.controller.arm(sequence)
    theirs = bench.double.arm(answer)
    bench.double.release(theirs)
    bench.controller.release(mine)
    outcome = bench.controller.wait_for(mine)
    double = bench.double.wait_for(theirs)
    bench.controller.settle()
    bench.double.settle()
    if double.done.state.name != "fired" or not double.complete or double.done.edges_lost:
        raise BenchError(
            f"the double did not answer: {double.done.state.name} {double.done.cause.name}, "
            f"{double.done.edges_lost} edges lost; no valve opening reached it within {_ARM_WINDOW_S:g} s, or it "
            "could not keep up"
        )
    return BenchShot(delay_s, pretence, outcome, double.edges)


def _take_errors(run: BenchRun, bench: Bench, shot: BenchShot, sequence: Sequence) -> None:
    """Convert what the double saw to the controller's clock, and compare."""
    hz = bench.controller.info.clock_hz
    table = sequence.make_table(bench.controller.info)

    def seconds(ticks: int) -> float:
        return ticks / run.ratio.ratio / hz

    valves = [row.delay_ticks for row in table.rows if row.kind is SignalKind.VALVE]
    opened = find_times(shot.seen, Signal.beam1)
    if len(opened) != len(valves):
        raise BenchError(
            f"the double saw {len(opened)} of {len(valves)} valve openings: test the wires"
        )
    run.valve_error += [
        seconds(b - a) - (y - x) / hz
        for a, b, x, y in zip(opened, opened[1:], valves, valves[1:], strict=False)
    ]
    edges = [
        (edge.ticks, "dark" if edge.level else "clear")
        for edge in shot.seen
        if edge.signal.name == "flash1"
    ]
    counted = count_beam_edges(table, "beam1", edges)
    stamped = find_times(shot.outcome.edges, Signal.beam1)
    pulses = find_times(shot.seen, Signal.flash1)
    if len(stamped) == len(pulses):
        run.stamp_error += [
            (stamped[n + 1] - stamped[n]) / hz - seconds(pulses[n + 1] - pulses[n])
            for n in range(len(pulses) - 1)
        ]
    if shot.outcome.done.state.name != "fired":
        return
    wanted = sorted(row.count for row in table.rows if row.output == "flash1")
    flashes = find_times(shot.seen, Signal.light1)
    if len(flashes) != len(wanted):
        raise BenchError(f"the double saw {len(flashes)} of {len(wanted)} flashes: test the wires")
    delay = next(row.delay_ticks for row in table.rows if row.output == "flash1")
    run.flash_error.setdefault(shot.delay_s, []).extend(
        seconds(flash - counted[count - 1]) - delay / hz
        for flash, count in zip(flashes, wanted, strict=True)
    )
