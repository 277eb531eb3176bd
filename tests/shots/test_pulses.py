"""Edges become pulses and drops by one rule, and everyone who looks at a beam sees the same drops."""

from __future__ import annotations

import dataclasses
from collections.abc import Callable

import pytest
from changed_log import change_shot
from hypothesis import given
from hypothesis import strategies as st
from tiers import in_full

from beamfall.board_tools.double.self_test import measure_pulses
from beamfall.events import Edge
from beamfall.faults.evidence import find_pulses
from beamfall.planning.calibration.measure import measure_drops
from beamfall.planning.seek.answer import Shot, read_shot
from beamfall.plot.lanes import make_lanes
from beamfall.recipes.make import make_recipe
from beamfall.repeatability import read_series
from beamfall.setup.rig import Rig, example_rig
from beamfall.setup.signals import Signal
from beamfall.shots import EdgeRecord, ShotLog
from beamfall.shots.pulses import Pulse, PulseReader, find_drops, read_lines, read_pulses
from beamfall.workflows.watch import BeamView

# -- the reader ------------------------------------------------------------------------------------------------
TIMES = st.lists(st.integers(0, 10**9), unique=True, max_size=30).map(sorted)


@st.composite
def any_edges(draw: st.DrawFn) -> list[tuple[int, bool]]:
    """Edges as they come when any of them may be lost: times rise, and any edge may follow any other."""
    return [(time, draw(st.booleans())) for time in draw(TIMES)]


@st.composite
def whole_edges(draw: st.DrawFn) -> list[tuple[int, bool]]:
    """Edges when none was lost: on and off in turn, starting with either."""
    first = draw(st.booleans())
    return [(time, first == (index % 2 == 0)) for index, time in enumerate(draw(TIMES))]


@given(any_edges())
def test_every_edge_is_an_end_of_one_pulse_and_no_other_end_is_made_up(
    edges: list[tuple[int, bool]],
) -> None:
    pulses = read_pulses(edges)
    assert [p.start for p in pulses if p.start is not None] == [t for t, on in edges if on]
    assert [p.end for p in pulses if p.end is not None] == [t for t, on in edges if not on]


@given(any_edges())
def test_a_pulse_has_a_length_only_between_two_edges_that_follow_each_other(
    edges: list[tuple[int, bool]],
) -> None:
    pairs = zip(edges, edges[1:], strict=False)
    true = [b - a for (a, first), (b, second) in pairs if first and not second]
    assert [p.length for p in read_pulses(edges) if p.length is not None] == true


@given(whole_edges(), st.data())
def test_a_lost_edge_costs_the_pulse_that_it_was_of_and_no_other(
    edges: list[tuple[int, bool]], data: st.DataObject
) -> None:
    if not edges:
        return
    lost = data.draw(st.sampled_from(edges))
    before = [p for p in read_pulses(edges) if p.length is not None]
    after = [p for p in read_pulses([e for e in edges if e != lost]) if p.length is not None]
    assert after == [p for p in before if lost[0] not in (p.start, p.end)]


@given(whole_edges())
def test_a_pulse_without_a_start_comes_first_and_one_without_an_end_last(
    edges: list[tuple[int, bool]],
) -> None:
    pulses = read_pulses(edges)
    assert all(p.start is not None for p in pulses[1:])
    assert all(p.end is not None for p in pulses[:-1])


@given(any_edges(), any_edges())
def test_lines_are_read_apart_and_live_as_afterwards(
    first: list[tuple[int, bool]], second: list[tuple[int, bool]]
) -> None:
    mixed = sorted(
        [*(("a", *edge) for edge in first), *(("b", *edge) for edge in second)],
        key=lambda edge: edge[1],
    )
    lines = read_lines(mixed)
    assert lines.get("a", []) == read_pulses(first)
    assert lines.get("b", []) == read_pulses(second)
    reader = PulseReader()
    live = [pulse for edge in first if (pulse := reader.feed(*edge)) is not None]
    last = reader.finish()
    assert [*live, *([last] if last is not None else [])] == read_pulses(first)


def test_a_drop_has_arrived_although_nobody_saw_it_leave() -> None:
    pulses = [Pulse(None, 0.1), Pulse(0.2, None), Pulse(0.3, 0.303), Pulse(0.304, 0.3041)]
    drops = find_drops(pulses, 0.003)
    assert [(drop.dark_s, drop.dwell_s is None) for drop in drops] == [(0.2, True), (0.3, False)]


# -- everyone who looks at a beam ------------------------------------------------------------------------------
HZ = 125_000_000
TRANSIT, DWELL, BOUNCE = 20_000_000, 375_000, 5_000  # 160 ms, 3 ms, 40 µs
SHOTS = 6


@dataclasses.dataclass(frozen=True)
class Awkward:
    """Beam edges of a shot, made from the ticks of its two sound drops, and what they show.

    `drops` are (which drop, whether its dwell is known); `whole` is how many pulses have both ends.
    """

    make: Callable[[int, int, int, int], list[tuple[int, str]]]
    drops: tuple[tuple[int, bool], ...]
    whole: int
    pulses: int


CASES = {
    "sound": Awkward(
        lambda a, b, c, d: [(a, "dark"), (b, "clear"), (c, "dark"), (d, "clear")],
        ((1, True), (2, True)),
        2,
        2,
    ),
    "the record ends in the dark": Awkward(
        lambda a, b, c, d: [(a, "dark"), (b, "clear"), (c, "dark")], ((1, True), (2, False)), 1, 2
    ),
    "dark before the record": Awkward(
        lambda a, b, c, d: [
            (a // 2, "clear"),
            (a, "dark"),
            (b, "clear"),
            (c, "dark"),
            (d, "clear"),
        ],
        ((1, True), (2, True)),
        2,
        3,
    ),  # fmt: skip
    "a clear edge lost": Awkward(
        lambda a, b, c, d: [(a, "dark"), (c, "dark"), (d, "clear")], ((1, False), (2, True)), 1, 2
    ),
    "a dark edge lost": Awkward(
        lambda a, b, c, d: [(a, "dark"), (b, "clear"), (d, "clear")], ((1, True),), 1, 2
    ),
    "the first dark edge lost": Awkward(
        lambda a, b, c, d: [(b, "clear"), (c, "dark"), (d, "clear")], ((2, True),), 1, 2
    ),
    "a bounce": Awkward(
        lambda a, b, c, d: [
            (a, "dark"),
            (b, "clear"),
            (b + BOUNCE, "dark"),
            (b + 2 * BOUNCE, "clear"),
            (c, "dark"),
            (d, "clear"),
        ],
        ((1, True), (2, True)),
        3,
        3,
    ),  # fmt: skip
}


def put_beam(log: ShotLog, shot: int, awkward: Awkward) -> tuple[list[int], list[tuple[int, str]]]:
    """Give a shot the beam edges of a case; return its openings and these edges."""
    edges = log.read_shot(shot).record.edges
    opened = [e.ticks for e in edges if e.signal is Signal.valve1 and e.edge == "on"]
    assert len(opened) == 2 and None not in opened
    dark = [ticks + TRANSIT for ticks in opened if ticks is not None]
    beam = awkward.make(dark[0], dark[0] + DWELL, dark[1], dark[1] + DWELL)
    others = [edge for edge in edges if edge.signal is not Signal.beam1]
    change_shot(
        log,
        shot,
        edges=[*others, *(EdgeRecord("beam1", word, None, at, "stamped") for at, word in beam)],
    )
    return [ticks for ticks in opened if ticks is not None], beam


@pytest.fixture(params=CASES)
def case(request: pytest.FixtureRequest) -> Awkward:
    return CASES[request.param]


def fire_sound(log: ShotLog, fire_series: Callable[..., int]) -> tuple[int, int]:
    """Fire a series whose drops are sound, but for the last shot; return both numbers."""
    series = fire_series(log, SHOTS)
    *others, last = log.find_shots()
    for shot in others:
        put_beam(log, shot, CASES["sound"])
    return series, last


def test_everyone_sees_the_same_drops(
    log: ShotLog, fire_series: Callable[..., int], case: Awkward
) -> None:
    """Repeatability, calibration, seek, timeline, fault finder, beam view and the double's self-test."""
    series, last = fire_sound(log, fire_series)
    _, beam = put_beam(log, last, case)
    record = log.read_shot(last).record
    dwells = [DWELL / HZ for _, known in case.drops if known]

    found = read_series(log, series, "beam1")
    own = [
        (n, drop) for n, drops in enumerate(found.drops, 1) for drop in drops if drop.shot == last
    ]
    assert [(n, drop.dwell_s is not None) for n, drop in own] == list(case.drops)
    assert [drop.arrival_s for _, drop in own] == pytest.approx([TRANSIT / HZ] * len(case.drops))

    (sample,) = measure_drops(log, [series])
    assert sample.shots.count(last) == len(dwells)  # those whose dwell is known
    for row, seen_in in zip(sample.values_s, sample.shots, strict=True):
        assert seen_in != last or list(row) == pytest.approx([TRANSIT / HZ, DWELL / HZ])

    shot = read_shot(record, 2, example_rig().beams[0])
    assert shot is not None
    assert [one for one in shot.dwells_s if one is not None] == pytest.approx(dwells)

    (lane,) = (lane for lane in make_lanes(record.to_json()) if lane.what == "beam1")
    assert len(lane.measured) == case.pulses
    assert sum(None not in (bar.start, bar.end) for bar in lane.measured) == case.whole

    events = [Edge(Signal.beam1, int(word == "dark"), at, True) for at, word in beam]
    assert len(find_pulses(events, Signal.beam1, HZ, 0)) == case.whole
    assert len(measure_pulses(events, HZ)) == case.whole

    view = BeamView(1, HZ)
    view.take(tuple(events))
    assert view.count == sum(word == "dark" for _, word in beam)
    assert view.longest_s == pytest.approx(DWELL / HZ)


@pytest.mark.parametrize("edge", ["dark", *in_full("clear")])
def test_search_and_recipe_leave_an_unseen_edge_at_its_drops_place(
    log: ShotLog,
    fire_series: Callable[..., int],
    monkeypatch: pytest.MonkeyPatch,
    case: Awkward,
    edge: str,
) -> None:
    rig = example_rig()
    rig = dataclasses.replace(rig, beams=(dataclasses.replace(rig.beams[0], edge=edge),))
    fire_series(log, 1, rig=rig)
    opened, beam = put_beam(log, 1, case)
    true = [at + TRANSIT + (DWELL if edge == "clear" else 0) for at in opened]
    due = [(at - opened[0]) / HZ if (at, edge) in beam else None for at in true]
    dwells = [DWELL / HZ if (n, True) in case.drops else None for n in (1, 2)]

    kept: list[Shot] = []

    def keep(rig: Rig, shot: Shot, *others: object, **more: object) -> tuple[None, None]:
        kept.append(shot)
        return None, None

    monkeypatch.setattr("beamfall.recipes.events.read_events", keep)
    make_recipe(log, 1, "kept")
    searched = read_shot(log.read_shot(1).record, 2, rig.beams[0], {"valve1"})
    assert searched is not None
    for shot in (searched, *kept):
        assert [shot.find_edge(n) for n in (1, 2)] == pytest.approx(due)
        assert list(shot.dwells_s) == pytest.approx(dwells)
    assert len(kept) == 1


def test_two_drops_that_merge_are_one_drop_to_everyone(
    log: ShotLog, fire_series: Callable[..., int]
) -> None:
    """The beam stays dark from the first to the end of the second."""
    merged = Awkward(lambda a, b, c, d: [(a, "dark"), (d, "clear")], ((1, True),), 1, 1)
    series, last = fire_sound(log, fire_series)
    opened, beam = put_beam(log, last, merged)
    long_s = (opened[1] - opened[0] + DWELL) / HZ

    found = read_series(log, series, "beam1")
    assert [drop.dwell_s for drop in found.drops[0] if drop.shot == last] == pytest.approx([long_s])
    assert found.missing == [[], [last]]
    (sample,) = measure_drops(log, [series])
    assert last not in sample.shots and sample.left_out == 1  # seen, and unlike the others
    shot = read_shot(log.read_shot(last).record, 2, example_rig().beams[0])
    assert shot is not None
    assert shot.find_edge(2) is None and shot.dwells_s == pytest.approx([long_s])
    events = [Edge(Signal.beam1, int(word == "dark"), at, True) for at, word in beam]
    assert [pulse.length_s for pulse in find_pulses(events, Signal.beam1, HZ, 0)] == [long_s]
    view = BeamView(1, HZ)
    view.take(tuple(events))
    assert (view.count, view.longest_s) == (1, pytest.approx(long_s))
