"""One shot as a record: what was planned, every edge planned and measured, and how it ended.

`ShotRecord.to_json` gives the object that `beamfall shoot --json` prints; the log, the timeline and
`shots show` work from the same.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import asdict, dataclass, field
from typing import TYPE_CHECKING, Any, Protocol, Self

from beamfall.setup.limits import BEAMS
from beamfall.setup.sequence import PlannedEdge, Table, count_beam_edges, predict_edges
from beamfall.setup.signals import Signal, SignalKind

if TYPE_CHECKING:
    from beamfall.events import Outcome

STAMPED, DERIVED = "stamped", "derived"


class MeasuredEdge(Protocol):
    """An edge as the board reports it; `beamfall.events.Edge` is one."""

    @property
    def signal(self) -> Signal: ...
    @property
    def ticks(self) -> int: ...
    @property
    def stamped(self) -> bool: ...
    @property
    def word(self) -> str: ...


@dataclass(frozen=True, slots=True)
class EdgeRecord:
    """An edge of a shot on the line `what`, a signal's name; ticks count from the release.

    `planned_ticks` is None for what no row commands (beams, light) and for a row whose beam edge
    never came; `ticks` is None for a planned edge that was not seen. `source`: 'stamped' from the
    line itself, else 'derived' from the command.
    """

    what: str
    edge: str
    planned_ticks: int | None
    ticks: int | None
    source: str = DERIVED

    def __post_init__(self) -> None:
        # A former name, as older logs have it, ends here.
        object.__setattr__(self, "what", Signal.of(self.what).name)

    @property
    def signal(self) -> Signal:
        """The line."""
        return Signal.of(self.what)

    @property
    def kind(self) -> SignalKind:
        """The kind of the line."""
        return self.signal.kind

    @property
    def time_ticks(self) -> int | None:
        """Where it stands in time: as measured, else as planned."""
        return self.planned_ticks if self.ticks is None else self.ticks


@dataclass(frozen=True, slots=True)
class ShotRecord:
    """One shot. Words are as people see them: `armed-for-sensor`, `few-edges`.

    `anchor_beam` is None where the flash follows the release. `counts` are the board's own figures
    at the end of the shot (edges_lost, rows_late, worst_late_ticks, beam1_counted, ...).
    `edges_missing` among them: how many of the shot's edges the board had to forget before anybody
    read them, so that `edges` is not all there was.
    """

    shot: int | None
    state: str
    cause: str | None
    seed: int | None
    clock_hz: int
    timing: str
    anchor_beam: str | None
    anchor_edge: str | None
    anchor_count: int
    flash_delay_ticks: int | None
    spacing_ticks: int | None
    edges: tuple[EdgeRecord, ...]
    truth: Mapping[str, Any] | None = None
    counts: Mapping[str, int] = field(default_factory=dict)

    def to_json(self) -> dict[str, Any]:
        """Return the object of `shoot --json`: plain values, times in integer ticks of `clock_hz`."""
        content: dict[str, Any] = {
            "shot": self.shot,
            "state": self.state,
            "cause": self.cause,
            "seed": self.seed,
            "clock_hz": self.clock_hz,
            "timing": self.timing,
            "anchor": {
                "beam": self.anchor_beam,
                "edge": self.anchor_edge,
                "count": self.anchor_count,
            },
            "planned": {
                "flash_delay_ticks": self.flash_delay_ticks,
                "spacing_ticks": self.spacing_ticks,
            },
            "edges": [asdict(edge) for edge in self.edges],
        }
        if self.counts:
            content["counts"] = dict(self.counts)
        if self.truth is not None:
            content["truth"] = self.truth
        return content

    @classmethod
    def from_json(cls, content: Mapping[str, Any]) -> Self:
        """Rebuild a record from `to_json`."""
        anchor, planned = content["anchor"], content["planned"]
        return cls(
            shot=content["shot"],
            state=content["state"],
            cause=content["cause"],
            seed=content["seed"],
            clock_hz=content["clock_hz"],
            timing=content["timing"],
            anchor_beam=anchor["beam"],
            anchor_edge=anchor["edge"],
            anchor_count=anchor["count"],
            flash_delay_ticks=planned["flash_delay_ticks"],
            spacing_ticks=planned["spacing_ticks"],
            edges=tuple(EdgeRecord(**edge) for edge in content["edges"]),
            truth=content.get("truth"),
            counts=content.get("counts", {}),
        )


def make_record(
    table: Table,
    outcome: Outcome,
    *,
    timing: str,
    shot: int | None = None,
    seed: int | None = None,
    truth: Mapping[str, Any] | None = None,
) -> ShotRecord:
    """Put table and outcome together into the record of a shot.

    `timing` is the board's class of timing (`board.info.timing.label`).
    """
    done = outcome.done
    return ShotRecord(
        shot=shot,
        state=done.state.label,
        cause=None if done.cause == 0 else done.cause.label,
        seed=seed,
        clock_hz=table.clock_hz,
        timing=timing,
        **plan_of(table),
        edges=match_edges(table, outcome.edges, done.ended_ticks),
        truth=truth,
        counts={
            name: getattr(done, name)
            for name in (
                *("ended_ticks", "edges_lost", "rows_late", "worst_late_ticks"),
                *("beam1_counted", "beam2_counted", "beam_edges_ignored"),
            )
        }
        | {"edges_missing": 0 if outcome.complete else max(1, done.edges - len(outcome.edges))},
    )


def plan_of(table: Table) -> dict[str, Any]:
    """Return the fields of a ShotRecord that a table alone decides: its anchor, delay and spacing."""
    flash = table.flash_row()
    beam = None if flash is None or flash.anchor == "release" else flash.anchor
    return {
        "anchor_beam": beam,
        "anchor_edge": None if beam is None else table.beam_edges[BEAMS.index(beam)],
        "anchor_count": 0 if flash is None else flash.count,
        "flash_delay_ticks": None if flash is None else flash.delay_ticks,
        "spacing_ticks": table.spacing_ticks(),
    }


def match_edges(
    table: Table, measured: Sequence[MeasuredEdge], ended_ticks: int | None = None
) -> tuple[EdgeRecord, ...]:
    """Pair every measured edge with the planned one it belongs to; return all edges in time order.

    Where an output has as many edges as planned they pair in order; where some are missing or too
    many, each planned edge takes the nearest measured one that is left.
    """
    counted = {
        beam: count_beam_edges(
            table,
            beam,
            [(edge.ticks, edge.word) for edge in measured if edge.signal.name == beam],
            ended_ticks,
        )
        for beam in BEAMS
    }
    planned: dict[tuple[str, str], list[PlannedEdge]] = {}
    for plan in predict_edges(table, counted):
        planned.setdefault((plan.what, "on" if plan.on else "off"), []).append(plan)
    seen: dict[tuple[str, str], list[MeasuredEdge]] = {}
    for edge in measured:
        seen.setdefault((edge.signal.name, edge.word), []).append(edge)
    records: list[EdgeRecord] = []
    for key in dict.fromkeys((*planned, *seen)):
        records += _pair(key, planned.get(key, []), seen.get(key, []))
    far = 2**64  # an edge with no time at all comes last
    records.sort(key=lambda record: far if record.time_ticks is None else record.time_ticks)
    return tuple(records)


def _pair(
    key: tuple[str, str], planned: list[PlannedEdge], seen: list[MeasuredEdge]
) -> Iterable[EdgeRecord]:
    due = [plan.ticks for plan in planned if plan.ticks is not None]
    partner: dict[int, int] = {}  # index in seen -> planned ticks
    if len(due) == len(seen):
        partner = dict(enumerate(due))
        left: list[int | None] = []
    else:
        open_due = list(enumerate(due))
        pairs = sorted(
            (abs(edge.ticks - ticks), index, number)
            for index, edge in enumerate(seen)
            for number, ticks in open_due
        )
        taken: set[int] = set()
        for _, index, number in pairs:
            if index not in partner and number not in taken:
                partner[index] = due[number]
                taken.add(number)
        left = [ticks for number, ticks in open_due if number not in taken]
    left += [None for plan in planned if plan.ticks is None]
    for index, edge in enumerate(seen):
        source = STAMPED if edge.stamped else DERIVED
        yield EdgeRecord(*key, partner.get(index), edge.ticks, source)
    for ticks in left:
        yield EdgeRecord(*key, ticks, None)
