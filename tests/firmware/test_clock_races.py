"""Edges that come just while the core looks: between the last stamp taken and the clock read, over a clock's turn.

The hardware here goes on by itself: every call takes time, and stamps can be taken as soon as their edge has been
(or a moment later, as on a port that stamps in an interrupt). What the core makes of a shot must not depend on when
it happens to look.
"""

from __future__ import annotations

import struct

import pytest
from scripted import BEAM1, HZ, MS
from tiers import in_full

from beamfall_board import wire_definition as wire
from beamfall_board.controller import Controller
from beamfall_board.store import ReportStore
from boards import simulated as profile

TURN = 2**30


class LivePort:
    """`cost` ticks pass in every call; edges are (ticks, level) of beam 1, given `entry` ticks after them."""

    clock_hz = HZ
    timing = wire.TIMING_HARDWARE
    earliest_ticks = earliest_beam_ticks = 16
    edges_lost = rows_late = worst_late = fault_row = fault_detail = 0
    wake_ticks = -1

    def __init__(self, edges: list[tuple[int, int]], cost: int, entry: int, now: int = 0) -> None:
        self.edges = list(edges)
        self.cost = cost
        self.entry = entry
        self.now = now
        self.edge_signal = BEAM1
        self.edge_mark = self.edge_ticks = 0

    def _pass(self) -> int:
        self.now += self.cost
        return self.now

    def now_ticks(self) -> int:
        return self._pass() % TURN

    def millis(self) -> int:
        return self._pass() // MS % TURN

    def next_edge(self) -> bool:
        self._pass()
        if not self.edges or self.edges[0][0] + self.entry > self.now:
            return False
        ticks, level = self.edges.pop(0)
        self.edge_ticks, self.edge_mark = ticks % TURN, level | 2
        return True

    def poll(self) -> int:
        self._pass()
        return 0

    def rows_done(self) -> bool:
        return True

    def beam_dark(self, beam: int) -> bool:
        return False

    def load(self, table: object) -> int:
        return 0

    def start(self) -> None:
        pass

    def stop(self) -> None:
        pass

    def outputs_off(self) -> None:
        pass

    def watch(self, on: bool) -> None:
        pass


class ManyPort(LivePort):
    """The same on a port that passes on many edges at once."""

    def take_edges(self, records, at, room) -> int:
        taken = 0
        while taken < room and self.next_edge():
            edge = (BEAM1, self.edge_mark, self.edge_ticks)
            struct.pack_into("<BBI", records, 6 * (at + taken), *edge)
            taken += 1
        return taken


def reports(store: ReportStore) -> list[tuple[int, bytes]]:
    found = []
    out = bytearray(300)
    for number in range(store.oldest_number, store.next_number):
        message, length = store.fetch(number, out, 0)
        found.append((message, bytes(out[:length])))
    return found


def shoot(port: LivePort, window: int, dwell: int) -> tuple[int, int, int]:
    """A shot that awaits one edge; (state, cause, counted edges) of its end."""
    store = ReportStore(8192)
    controller = Controller(port, profile, store)
    table = controller.table
    table.clear()
    table.rows = 1
    table.window, table.dwell, table.tail = window, dwell, MS
    table.awaits[0] = 1
    table.beam_edge[0] = table.beam_edge[1] = wire.EDGE_DARK
    table.set_row(0, 1, 1, 4, 30 * MS, MS)
    table.state = wire.TABLE_READY
    controller._loaded = table
    controller.release(1)
    for _ in range(100_000):
        controller.step()
        if controller.activity == wire.ACTIVITY_NONE:
            break
    ((_, done),) = [one for one in reports(store) if one[0] == wire.MSG_SHOT_DONE]
    fields = struct.unpack(wire.FORMAT_SHOT_DONE, done)
    return fields[2], fields[3], fields[10]


COST = 40 * 125  # 40 us: what a call takes on a board


@pytest.mark.parametrize("entry", [8 * 125, *in_full(0)])
def test_an_edge_inside_the_window_counts_whenever_the_core_looks(entry: int) -> None:
    for window in range(5 * MS, 5 * MS + 4 * COST, COST // 3):
        for before in range(0, 4 * COST, 311):
            port = LivePort([(window - before, 1), (window + MS, 0)], COST, entry)
            assert shoot(port, window, 0)[:2] == (wire.STATE_FIRED, wire.CAUSE_NONE), before


def test_an_edge_after_the_window_does_not() -> None:
    window = 5 * MS
    for after in range(1, 8 * COST, 311):
        port = LivePort([(window + after, 1), (window + MS, 0)], COST, 0)
        assert shoot(port, window, 0)[0] == wire.STATE_MISSED, after


@pytest.mark.parametrize("entry", [0, 8 * 125])
@pytest.mark.parametrize("short", [1, 1000, 2000])
def test_a_shadow_shorter_than_the_dwell_never_counts(short: int, entry: int) -> None:
    dwell = MS
    for start in range(2 * MS, 2 * MS + 8 * COST, 311):
        port = LivePort([(start, 1), (start + dwell - short, 0)], COST, entry)
        assert shoot(port, 8 * MS, dwell)[0] == wire.STATE_MISSED, start


def test_a_shadow_of_the_dwell_always_counts() -> None:
    for start in range(2 * MS, 2 * MS + 8 * COST, 311):
        port = LivePort([(start, 1), (start + MS, 0)], COST, 0)
        assert shoot(port, 8 * MS, MS)[0] == wire.STATE_FIRED, start


def watch(port: LivePort, until: int) -> list[int]:
    """The times of all edges that a watch reports, from its start."""
    store = ReportStore(8192)
    controller = Controller(port, profile, store)
    port.now = 0
    controller.watch(True)
    steps = 0
    while port.now < until:
        controller.step()
        steps += 1
        if port.now % TURN < TURN - 2 * MS and port.now % TURN > 2 * MS and not steps % 8:
            port.now += 5 * MS  # the loop sleeps between two looks
    controller.watch(False)
    seen = []
    for message, payload in reports(store):
        if message == wire.MSG_EDGES:
            (base,) = struct.unpack_from("<Q", payload, 5)
            for index in range(payload[13]):
                seen.append(base + struct.unpack_from("<I", payload, 16 + 6 * index)[0])
    return seen


@pytest.mark.parametrize("kind", [LivePort, *in_full(ManyPort)])
@pytest.mark.parametrize("entry", [0, *in_full(8 * 125)])
@pytest.mark.parametrize("cost", [COST, *in_full(*range(COST + 599, COST + 3000, 599))])
@pytest.mark.parametrize("begin", [0, *in_full(1, 2, 3)])
def test_a_watch_tells_edges_right_around_the_turn_of_its_clock(
    kind, entry: int, cost: int, begin: int
) -> None:
    for offset in range(-3 * COST + 2003 * begin, 3 * COST, 4 * 2003):
        times = [HZ, TURN + offset, TURN + 3 * MS, 2 * TURN + offset, 2 * TURN + 9 * MS]
        port = kind([(ticks, number % 2) for number, ticks in enumerate(times)], cost, entry)
        assert watch(port, 2 * TURN + 40 * MS) == times, offset


@pytest.mark.parametrize("kind", [LivePort, ManyPort])
def test_a_loop_held_up_for_seconds_keeps_a_watch_in_time(kind) -> None:
    edges = [(9 * HZ, 1)]  # 2^30 ticks are 8.6 s
    port = kind(edges, COST, 0)
    store = ReportStore(8192)
    controller = Controller(port, profile, store)
    controller.watch(True)
    controller.step()
    port.now = 6 * HZ
    controller.step()
    port.now = 10 * HZ
    controller.step()
    controller.watch(False)
    (payload,) = [payload for message, payload in reports(store) if message == wire.MSG_EDGES]
    (base,) = struct.unpack_from("<Q", payload, 5)
    assert base + struct.unpack_from("<I", payload, 16)[0] == 9 * HZ


def test_an_edge_stamped_a_moment_before_the_begin_of_a_watch_is_at_its_begin() -> None:
    port = LivePort([(TURN - 3, 1), (TURN + 5 * MS, 0)], COST, 0)
    store = ReportStore(8192)
    controller = Controller(port, profile, store)
    controller.watch(True)
    port.now = TURN  # its zero: the stamp of the first edge is 3 ticks before
    controller.step()
    port.now = TURN + 10 * MS
    controller.step()
    controller.watch(False)
    seen = [
        struct.unpack_from("<Q", payload, 5)[0] + struct.unpack_from("<I", payload, 16 + 6 * i)[0]
        for message, payload in reports(store)
        if message == wire.MSG_EDGES
        for i in range(payload[13])
    ]
    assert seen == [0, 5 * MS]
