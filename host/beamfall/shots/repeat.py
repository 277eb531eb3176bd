"""Fires a logged shot again: its sequence from the log, and how today's edges differ from that day's."""

from __future__ import annotations

import math
import statistics
from collections.abc import Sequence as SequenceOf
from dataclasses import dataclass, replace
from typing import Any

from beamfall.errors import UserError
from beamfall.repeatability.formulas import student_tail
from beamfall.setup.sequence import Row, Sequence
from beamfall.setup.table import Table
from beamfall.shots.log import ShotLog
from beamfall.shots.record import ShotRecord

_BY_CHANCE = 0.0027  # of comparisons, in which any edge is called moved though none has: the
# two-sided tail beyond 3 standard deviations of a normal distribution
_FEW = 5  # shots below which a scatter is not worth judging by


def rebuild_sequence(table: Table, name: str = "") -> Sequence:
    """Return the sequence that makes exactly this table on a clock of the same rate.

    Ticks become seconds and round back to the same ticks: they are below 2^32, a float has 53 bits.
    Raises UserError for a table without rows: of a shot by the board's button whose table the log
    does not have.
    """
    if not table.rows:
        raise UserError(
            "the board's button released this shot, and its sequence is not in the log: "
            "it cannot be fired again from here"
        )
    hz = table.clock_hz
    rows = sorted(table.rows, key=lambda row: row.origin)
    return Sequence(
        rows=tuple(
            Row(row.anchor, row.count, row.output, row.delay_ticks / hz, row.width_ticks / hz)
            for row in rows
        ),
        window_s=table.window_ticks / hz,
        tail_s=table.tail_ticks / hz,
        blanking_s=table.blanking_ticks / hz,
        dwell_s=table.dwell_ticks / hz,
        beam1_edge=table.beam_edges[0],
        beam2_edge=table.beam_edges[1],
        await1=table.awaits[0],
        await2=table.awaits[1],
        name=name,
    )


@dataclass(frozen=True, slots=True)
class EdgeChange:
    """One edge then and now, in s from the release; None if it was not seen.

    `now_s` is the mean of the shots of today; `scatter_s` the standard deviation from shot to shot,
    of that day's series where it has enough, else of today's shots, None if neither has;
    `moved` whether the difference is more than that scatter explains, None if nobody can say.
    """

    what: str
    edge: str
    ordinal: int  # the n-th such edge of the shot, from 1
    then_s: float | None
    now_s: float | None
    seen: int  # in how many of today's shots
    scatter_s: float | None
    moved: bool | None

    @property
    def difference_s(self) -> float | None:
        """Now minus then."""
        if self.then_s is None or self.now_s is None:
            return None
        return self.now_s - self.then_s

    def to_json(self) -> dict[str, Any]:
        """Plain values; times in µs."""

        def micros(seconds: float | None) -> float | None:
            return None if seconds is None else round(seconds * 1e6, 4)

        return {
            "what": self.what,
            "edge": self.edge,
            "ordinal": self.ordinal,
            "then_us": micros(self.then_s),
            "now_us": micros(self.now_s),
            "difference_us": micros(self.difference_s),
            "seen": self.seen,
            "scatter_us": micros(self.scatter_s),
            "moved": self.moved,
        }


def compare_shots(
    then: ShotRecord, now: SequenceOf[ShotRecord], peers: SequenceOf[ShotRecord] = ()
) -> list[EdgeChange]:
    """Return each edge of that day's shot beside today's shots, in the order of that day.

    `peers` are other shots of that day with the same sequence: they say how much shots differ anyway.
    A difference over its standard error s·√(1 + 1/n) follows Student's t, with one degree of freedom
    less than shots went into s (a prediction interval: NIST/SEMATECH e-Handbook, 1.3.6.6.4 for t). An
    edge has moved where that is less likely than 0.0027 over the number of edges judged (Bonferroni).
    """
    old = _take_times(then)
    new = [_take_times(record) for record in now]
    same_day = [_take_times(record) for record in peers]
    keys = list(dict.fromkeys([*old, *(key for times in new for key in times)]))
    changes: list[EdgeChange] = []
    judged: list[tuple[int, float, int]] = []  # which change, its t, degrees of freedom
    for key in keys:
        values = [times[key] for times in new if key in times]
        before = old.get(key)
        mean = sum(values) / len(values) if values else None
        then_values = [times[key] for times in same_day if key in times]
        sample = then_values if len(then_values) >= _FEW else values
        scatter = statistics.stdev(sample) if len(sample) >= _FEW else None
        moved: bool | None = None
        if before is not None and mean is not None and scatter is not None:
            # A measured edge is known to a tick or two; scatter below that is only rounding.
            error = max(scatter, 1.0 / then.clock_hz) * math.sqrt(1.0 + 1.0 / len(values))
            judged.append((len(changes), (mean - before) / error, len(sample) - 1))
        elif (before is None) != (mean is None):
            moved = True
        changes.append(EdgeChange(*key, before, mean, len(values), scatter, moved))
    for index, t, freedom in judged:
        unlikely = student_tail(t, freedom) < _BY_CHANCE / len(judged)
        changes[index] = replace(changes[index], moved=unlikely)
    return changes


def find_peers(log: ShotLog, shot: int, limit: int = 50) -> list[ShotRecord]:
    """Return the other fired shots of a shot's series with the same sequence, at most `limit`."""
    rows = log.query(
        "SELECT other.id FROM shot AS this JOIN shot AS other ON other.series_id = this.series_id"
        " AND other.sequence_id = this.sequence_id AND other.id != this.id"
        " AND other.state = 'fired' WHERE this.id = ? ORDER BY abs(other.id - this.id) LIMIT ?",
        (shot, limit),
    )
    records = [logged.record for logged in log.read_these(row[0] for row in rows)]
    # If edges are missing, the count of the others is wrong.
    return [record for record in records if not record.counts.get("edges_missing")]


def _take_times(record: ShotRecord) -> dict[tuple[str, str, int], float]:
    times: dict[tuple[str, str, int], float] = {}
    counts: dict[tuple[str, str], int] = {}
    for edge in record.edges:
        if edge.ticks is None:
            continue
        ordinal = counts[edge.what, edge.edge] = counts.get((edge.what, edge.edge), 0) + 1
        times[edge.what, edge.edge, ordinal] = edge.ticks / record.clock_hz
    return times
