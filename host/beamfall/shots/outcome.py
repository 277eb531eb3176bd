"""Makes the record of a shot from its table and the board's reports: every edge planned and measured."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from beamfall.events import Edge, Outcome
from beamfall.setup.rig import Rig
from beamfall.setup.rig_sections import is_same_place
from beamfall.setup.table import BEAMS, PlannedEdge, Table, count_beam_edges, predict_edges
from beamfall.shots.record import DERIVED, STAMPED, EdgeRecord, ShotRecord


def make_record(
    table: Table,
    outcome: Outcome,
    *,
    timing: str,
    shot: int | None = None,
    seed: int | None = None,
    truth: Mapping[str, Any] | None = None,
    rig: Rig | None = None,
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
        **plan_of(table, rig),
        edges=match_edges(table, outcome.edges, done.ended_ticks),
        readings=outcome.readings,
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


def plan_of(table: Table, rig: Rig | None = None) -> dict[str, Any]:
    """Return the fields of a ShotRecord that its table determines: anchor, delay and spacing.

    The spacing is between drops that meet: of the valves at the place of the rig's first valve.
    """
    valves = None
    if rig is not None and rig.valves:
        place_m = rig.valves[0].place_m
        valves = {one.output for one in rig.valves if is_same_place(one.place_m, place_m)}
    flash = table.flash_row()
    beam = None if flash is None or flash.anchor == "release" else flash.anchor
    return {
        "anchor_beam": beam,
        "anchor_edge": None if beam is None else table.beam_edges[BEAMS.index(beam)],
        "anchor_count": 0 if flash is None else flash.count,
        "flash_delay_ticks": None if flash is None else flash.delay_ticks,
        "spacing_ticks": table.spacing_ticks(valves),
    }


def match_edges(
    table: Table, measured: Sequence[Edge], ended_ticks: int | None = None
) -> tuple[EdgeRecord, ...]:
    """Pair every measured edge with its planned one; return all edges in time order.

    If an output has as many edges as planned, they pair in order. If some are missing or there are too
    many, each planned edge takes the nearest remaining measured one.
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
    seen: dict[tuple[str, str], list[Edge]] = {}
    for edge in measured:
        seen.setdefault((edge.signal.name, edge.word), []).append(edge)
    records: list[EdgeRecord] = []
    for key in dict.fromkeys((*planned, *seen)):
        records += _pair(key, planned.get(key, []), seen.get(key, []))
    far = 2**64  # an edge with no time at all comes last
    records.sort(key=lambda record: far if record.time_ticks is None else record.time_ticks)
    return tuple(records)


def _pair(
    key: tuple[str, str], planned: list[PlannedEdge], seen: list[Edge]
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
