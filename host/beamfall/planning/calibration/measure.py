"""What single drops did, from the shot log: groups of drops that should all have done the same."""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from beamfall.errors import UserError
from beamfall.setup.rig import Rig
from beamfall.setup.rig_sections import is_same_place
from beamfall.setup.signals import Signal, SignalKind
from beamfall.shots import ShotLog, ShotRecord
from beamfall.shots.pulses import (
    Arrival,
    Pulse,
    assign_drops,
    find_drops,
    find_transit,
    find_usual_dwell,
    read_lines,
)
from beamfall.shots.record import WARM_UP, rebuild_rig

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray


LEAST_DROPS = 8  # fewer say too little about their own scatter (our choice)
# In median deviations: beyond this it was something else (a merged drop, a hand in the beam).
_FAR = 6.0


@dataclass(frozen=True)
class Sample:
    """Drops of one valve and opening on one rig, each seen completely by all of `beams`.

    `values_s` has a row a drop and two columns a beam: arrival (from the valve's opening to dark)
    and dwell.
    """

    rig: Rig
    valve: str
    opening_s: float
    beams: tuple[str, ...]
    values_s: NDArray[np.float64]
    shots: tuple[int, ...]
    left_out: int  # drops that were seen but differ from the others


@dataclass
class _Shot:
    shot: int
    rig: str
    valves: list[tuple[str, float, float]]  # output, on, off
    pulses: dict[str, list[Pulse]]  # by beam


def measure_drops(log: ShotLog, series: Sequence[int], *, valve: str | None = None) -> list[Sample]:
    """Return the drops of these series, grouped; `valve` when left out is the rig's first.

    Raises UserError if shots have no rig, or no group has enough drops.
    """
    shots = _read(log, series)
    named = ", ".join(str(one) for one in series)
    if not shots:
        raise UserError(
            f"series {named}: no completed shot of a rig; fire some: beamfall shoot RIG"
        )
    samples: list[Sample] = []
    for snapshot in dict.fromkeys(shot.rig for shot in shots):
        rig = rebuild_rig(json.loads(snapshot), "a rig")
        samples += _group(rig, [shot for shot in shots if shot.rig == snapshot], valve)
    enough = [sample for sample in samples if len(sample.values_s) >= LEAST_DROPS]
    if not enough:
        most = max((len(sample.values_s) for sample in samples), default=0)
        raise UserError(
            f"series {named}: the largest group of like drops has {most} that crossed a beam completely; calibration "
            f"needs {LEAST_DROPS}, preferably 30: beamfall shoot RIG --count 30"
        )
    return enough


def put_own_first(samples: Sequence[Sample], rig: Rig) -> list[Sample]:
    """Return the samples with those of this very rig first, newest first: they are what is asked about."""
    newest = list(reversed(samples))
    return sorted(newest, key=lambda sample: sample.rig.digest != rig.digest)


def _read(log: ShotLog, series: Sequence[int]) -> list[_Shot]:
    return [
        _read_shot(logged.record, logged.rig)
        for one in series
        for logged in log.read_shots(series=one)
        if logged.rig is not None
        and logged.record.edges
        and WARM_UP not in (logged.record.swept or {})
    ]


def _read_shot(record: ShotRecord, rig: Mapping[str, Any]) -> _Shot:
    lines = read_lines(_list_times(record))
    valves = [
        (signal.name, pulse.start, pulse.end)
        for signal, pulses in lines.items()
        if signal.kind is SignalKind.VALVE
        for pulse in pulses
        if pulse.start is not None and pulse.end is not None
    ]
    beams = {
        signal.name: pulses for signal, pulses in lines.items() if signal.kind is SignalKind.BEAM
    }
    return _Shot(
        record.shot or 0, json.dumps(rig), sorted(valves, key=lambda entry: entry[1]), beams
    )


def _list_times(record: ShotRecord) -> Iterator[tuple[Signal, float, bool]]:
    """Line, time in s and whether it is on or dark; an output that was not seen is as commanded."""
    for edge in record.edges:
        when = edge.time_ticks if edge.signal.is_output else edge.ticks
        if when is not None:
            yield edge.signal, when / record.clock_hz, bool(edge.level)


def _group(rig: Rig, shots: Sequence[_Shot], valve: str | None) -> list[Sample]:
    own = next((one for one in rig.valves if valve in (None, one.output)), None)
    if own is None:
        return []
    beams = tuple(beam.input for beam in rig.beams if is_same_place(beam.place_m, own.place_m))
    # Only beams that saw something: a second beam may be in the rig file and not yet wired.
    beams = tuple(beam for beam in beams if any(shot.pulses.get(beam) for shot in shots))
    if not beams:
        return []
    came = {beam: _assign(shots, beam) for beam in beams}
    groups: dict[float, list[tuple[int, list[float]]]] = {}
    for index, shot in enumerate(shots):
        for number, (output, on, off) in enumerate(shot.valves):
            if output != own.output:
                continue
            row: list[float] = []
            for beam in beams:
                drop = came[beam][index][number]
                if drop is None or drop.dwell_s is None:
                    break
                row += [drop.dark_s - on, drop.dwell_s]
            else:
                groups.setdefault(round(off - on, 7), []).append((shot.shot, row))
    return [_make_sample(rig, own.output, opening, beams, rows) for opening, rows in groups.items()]


def _assign(shots: Sequence[_Shot], beam: str) -> list[list[Arrival | None]]:
    """For each shot and opening the drop that one beam saw."""
    usual_s = find_usual_dwell(pulse for shot in shots for pulse in shot.pulses.get(beam, ()))
    seen = [
        ([on for _, on, _ in shot.valves], find_drops(shot.pulses.get(beam, ()), usual_s))
        for shot in shots
    ]
    transit = find_transit(seen)
    return [assign_drops(openings, drops, transit) for openings, drops in seen]


def _make_sample(
    rig: Rig,
    valve: str,
    opening_s: float,
    beams: tuple[str, ...],
    rows: Sequence[tuple[int, list[float]]],
) -> Sample:
    import numpy as np

    values = np.array([row for _, row in rows])
    middle = np.median(values, axis=0)
    # 1.4826 makes the median deviation that of a normal distribution; a tick is the least there is.
    spread = 1.4826 * np.median(np.abs(values - middle), axis=0) + 1e-8
    like = np.all(np.abs(values - middle) <= _FAR * spread, axis=1)
    if like.sum() < 0.7 * len(values):
        like[:] = True  # no majority that agrees: leave the judgement to the scatter
    shots = tuple(shot for (shot, _), kept in zip(rows, like, strict=True) if kept)
    return Sample(rig, valve, opening_s, beams, values[like], shots, int((~like).sum()))
