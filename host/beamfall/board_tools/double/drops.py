"""What the double pretends: the drops that a sequence's valve openings would make, and possible faults.

Drops fall as in the simulation (`beamfall.sim.drops`): scatter of latency and volume, fall with drag, shadow in the
beam. Their shadows become the rows of the double's table, all anchored to the first valve opening that it sees.
"""

from __future__ import annotations

import random
from collections.abc import Iterable
from dataclasses import dataclass

from beamfall.board_tools.errors import BenchError
from beamfall.errors import WrongValue
from beamfall.setup.limits import BoardLimits
from beamfall.setup.sequence import Row, Sequence
from beamfall.setup.signals import Signal, SignalKind
from beamfall.setup.table import Table, count_beam_edges, predict_edges
from beamfall.sim.drops import LEAST_GAP_S, make_drop
from beamfall.sim.model import RigModel

FAULTS = ("none", "no_drop", "merged", "satellites", "chatter")
_SATELLITE_AFTER_S = 0.004
_SATELLITE_DARK_S = 0.0004
_CHATTER_PULSES = 120  # more edges than the 200 that the firmware treats as chatter
_CHATTER_STEP_S = 0.0001
_LIGHT_LATENCY_S = 50e-6
_LIGHT_S = 0.001
# The double's outputs that are the controller's beams
_OUTPUTS = {1: Signal.flash1.name, 2: Signal.flash2.name}
_LIGHT_OUTPUT = Signal.flash3.name
# What the double's profile allows between two pulses of one output, and for one pulse
_LEAST_S = 20e-6

Shadow = tuple[float, float]  # start and end of dark, in seconds since the controller's release


@dataclass(frozen=True)
class Pretence:
    """What the double will do in one shot. Seconds count from the controller's release, on its clock."""

    fault: str
    shadows: dict[int, tuple[Shadow, ...]]  # by beam, in time order
    lights: tuple[Shadow, ...]
    first_valve_s: float
    end_s: float  # when the controller has finished
    expected: tuple[str, str]  # state and cause of the controller's shot
    counted_s: tuple[float, ...]  # edges of beam 1 that should count

    def make_answer(self, scale: float, window_s: float) -> Sequence | None:
        """Return the double's sequence, on a clock `scale` times as fast as nominal; None if it only watches."""
        rows = [
            Row("beam1", 1, output, (begin - self.first_valve_s) * scale, (end - begin) * scale)
            for output, pulses in (
                *((_OUTPUTS[beam], shadows) for beam, shadows in self.shadows.items()),
                (_LIGHT_OUTPUT, self.lights),
            )
            for begin, end in pulses
        ]
        if not rows:
            return None
        last = max(row.delay_s + row.width_s for row in rows)
        tail = max(0.02, (self.end_s - self.first_valve_s) * scale - last)
        return Sequence(rows=tuple(rows), window_s=window_s, tail_s=tail)


def pretend(
    model: RigModel, sequence: Sequence, limits: BoardLimits, *, seed: int, fault: str = "none"
) -> Pretence:
    """Calculate what falls when a controller with these limits runs `sequence`; one seed gives one shot.

    Raises WrongValue for an unknown fault, BenchError for a sequence that opens no valve, or two at once (the double
    has one input for all valves).
    """
    if fault not in FAULTS:
        raise WrongValue(
            f"there is no fault '{fault}'; there are {', '.join(FAULTS)}",
            of="fault", found=fault, choices=FAULTS,
        )  # fmt: skip
    openings = _list_openings(sequence)
    shadows = _spoil(_let_fall(model, openings, random.Random(f"{seed}/bench")), fault)
    table = sequence.make_table_within(limits)
    counted, flashes = _foresee(table, shadows)
    awaited = table.awaits[0]
    in_time = [at for at in counted if at <= sequence.window_s]
    expected = ("fired", "none")
    if len(in_time) < awaited:
        edges = 2 * sum(len(pulses) for pulses in shadows.values())
        expected = ("missed", "chatter" if edges >= 200 else "few_edges" if edges else "no_edge")
    elif fault == "chatter":
        expected = ("fired", "chatter")
    lights = tuple((at + _LIGHT_LATENCY_S, at + _LIGHT_LATENCY_S + _LIGHT_S) for at in flashes)
    if expected[0] == "missed":
        lights = ()
    last = max([0.0, *flashes, *(end for pulses in shadows.values() for _, end in pulses)])
    return Pretence(
        fault=fault,
        shadows=shadows,
        lights=lights,
        first_valve_s=openings[0][1],
        end_s=max(last, sequence.window_s) + sequence.tail_s,
        expected=expected,
        counted_s=tuple(counted),
    )


def _list_openings(sequence: Sequence) -> list[tuple[int, float, float]]:
    """(valve, opened, width) in time order."""
    found = sorted(
        (Signal.of(row.output).number, row.delay_s, row.width_s)
        for row in sequence.rows
        if row.kind is SignalKind.VALVE
    )
    found.sort(key=lambda opening: opening[1])
    if not found:
        raise BenchError("the sequence opens no valve, so the double has nothing to do")
    for before, after in zip(found, found[1:], strict=False):
        if after[1] <= before[1] + before[2]:
            raise BenchError(
                f"valve {before[0]} and valve {after[0]} are open at once; the double has one input for all valves",
                parts=tuple(SignalKind.VALVE.nth(one[0]).name for one in (before, after)),
            )
    return found


def _let_fall(
    model: RigModel, openings: Iterable[tuple[int, float, float]], draws: random.Random
) -> dict[int, tuple[Shadow, ...]]:
    free: dict[int, float] = {}
    shadows: dict[int, list[Shadow]] = {}
    for valve, opened, width in openings:
        drop = make_drop(model, valve, opened, width, draws, free.get(valve, 0.0))
        if drop is None:
            continue
        free[valve] = drop.left_s + LEAST_GAP_S
        for beam, shadow in drop.dark_s.items():
            shadows.setdefault(beam, []).append(shadow)
    return {beam: _merge(pulses) for beam, pulses in shadows.items() if beam in _OUTPUTS}


def _merge(pulses: list[Shadow]) -> tuple[Shadow, ...]:
    """Merge shadows that overlap or nearly touch."""
    merged: list[Shadow] = []
    for begin, end in sorted(pulses):
        if merged and begin - merged[-1][1] < _LEAST_S:
            merged[-1] = (merged[-1][0], max(end, merged[-1][1]))
        else:
            merged.append((begin, max(end, begin + _LEAST_S)))
    return tuple(merged)


def _spoil(shadows: dict[int, tuple[Shadow, ...]], fault: str) -> dict[int, tuple[Shadow, ...]]:
    if fault == "none":
        return shadows
    if fault == "no_drop":
        return {}
    spoiled: dict[int, tuple[Shadow, ...]] = {}
    for beam, pulses in shadows.items():
        if fault == "merged":  # the first two drops have merged on their way
            length = sum(end - begin for begin, end in pulses[:2])
            begin = pulses[0][0]
            spoiled[beam] = _merge([(begin, begin + length), *pulses[2:]])
        elif fault == "satellites":
            small = [
                (end + _SATELLITE_AFTER_S, end + _SATELLITE_AFTER_S + _SATELLITE_DARK_S)
                for _, end in pulses
            ]
            spoiled[beam] = _merge([*pulses, *small])
        else:  # chatter: a loose plug, starting at the first drop
            begin = pulses[0][0]
            spoiled[beam] = tuple(
                (begin + n * _CHATTER_STEP_S, begin + (n + 0.5) * _CHATTER_STEP_S)
                for n in range(_CHATTER_PULSES)
            )
    return spoiled


def _foresee(
    table: Table, shadows: dict[int, tuple[Shadow, ...]]
) -> tuple[list[float], list[float]]:
    """When the controller should count beam 1, and when it should fire, in seconds."""
    hz = table.clock_hz
    counted: dict[str, list[int]] = {}
    for beam, pulses in shadows.items():
        edges = [
            (round(at * hz), word)
            for pulse in pulses
            for at, word in zip(pulse, ("dark", "clear"), strict=True)
        ]
        name = SignalKind.BEAM.nth(beam).name
        counted[name] = count_beam_edges(table, name, edges)
    flashes = [
        edge.ticks / hz
        for edge in predict_edges(table, counted)
        if edge.on and edge.ticks is not None and edge.kind is SignalKind.FLASH
    ]
    return [ticks / hz for ticks in counted.get("beam1", [])], flashes
