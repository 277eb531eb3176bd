"""Stamps of the pins: how exact they are, and what becomes of edges that are too many.

The board is the emulated chip of emulated_chip.py; times are system clocks of 8 ns.
"""

from __future__ import annotations

import random
import struct
from collections.abc import Callable
from typing import Any

import pytest

MS = 125_000
VALVE1, VALVE2, FLASH1, FLASH2, FLASH3, FOCUS, SHUTTER = 1, 2, 4, 5, 6, 7, 8
BEAM1, BEAM2, LIGHT, BUTTON = 9, 10, 11, 12


# -- stamps ----------------------------------------------------------------------------------------------------
def test_the_edge_constant_shows_in_the_stamps_and_can_be_put_right(
    make_bench: Callable[..., Any],
) -> None:
    """A wire from valve 1 to beam 1, as `board measure` uses it. The emulator has no input flip-flops, so its constant
    is 0 where the data sheet says 3: the flash comes twice that too early, and the board's own stamps show it."""
    bench = make_bench(sync=2)
    assert (bench.port.edge_constant, bench.port.edge_constant_expected) == (3, 3)
    wire = bench.chip.mcu.gpio[bench.pin[VALVE1]]
    wire.add_listener(lambda state, _last: bench.chip.drive(bench.pin[BEAM1], int(state) & 1))
    rows = [(0, 0, VALVE1, 1000 + 30_001 * n, 2000) for n in range(12)]
    rows += [(1, n + 1, FLASH1, 500, 1000) for n in range(12)]

    def mean_error() -> float:
        bench.release(rows, window=1, blanking=20_000)
        bench.chip.run(400_000)
        bench.port.stop()
        begins = {VALVE1: [], FLASH1: []}
        for signal, level, ticks in bench.stamps():
            if level and signal in begins:
                begins[signal].append(ticks)
        errors = [f - v - 500 for v, f in zip(begins[VALVE1], begins[FLASH1], strict=True)]
        assert len(errors) == 12
        return sum(errors) / len(errors)

    assert round(mean_error() / 2) == -3
    bench.port.use_edge_constant(0)
    assert round(mean_error() / 2) == 0 and abs(mean_error()) < 1.5


def test_stamps_are_within_half_a_round(bench: Any) -> None:
    """All stamped pins at any phase: 7 cycles, 56 ns; just after another event 11."""
    zero = bench.release([(0, 0, VALVE1, 200_000, 100)])
    rng = random.Random(3)
    edges, at = [], zero + 500
    for i in range(400):
        signal = rng.choice([BEAM1, BEAM2, LIGHT, BUTTON])
        level = 1 - next((v for _, s, v in reversed(edges) if s == signal), 0)
        at += rng.choice([12, 13, 40, 101, 500]) if i else 0
        edges.append((at - zero, signal, level))
        bench.line(signal, level, at)
    bench.chip.run_until(zero + 201_000)
    stamps = [s for s in bench.stamps() if s[0] != VALVE1]
    assert [(s, v) for s, v, _ in stamps] == [(s, v) for _, s, v in edges]
    errors = [stamp[2] - edge[0] for stamp, edge in zip(stamps, edges, strict=True)]
    alone = [
        e
        for e, edge, before in zip(errors[1:], edges[1:], edges, strict=False)
        if edge[0] - before[0] >= 40
    ]
    assert min(errors) >= -3 and max(errors) <= 3 + 4
    assert min(alone) == -3 and max(alone) == 3
    assert bench.port.edges_lost == 0


def test_bursts_of_200_edges_at_50_khz_lose_none(bench: Any) -> None:
    """The board reads its stamps only between bursts."""
    zero = bench.release([(0, 0, VALVE1, 100 * MS, 100)])
    taken = []
    for burst in range(3):
        start = zero + MS + burst * 24 * MS
        bench.chip.pulses(bench.pin[BEAM1], start, 2500 * 2, 100, 2500)  # 200 edges, one each 20 us
        bench.chip.run_until(start + 22 * MS)
        taken += bench.stamps()
    assert len(taken) == 600
    assert bench.port.edges_lost == 0 and bench.port.poll() == 0
    times = [t for _, _, t in taken]
    assert times == sorted(times)
    assert max(abs(b - a - 2500) for a, b in zip(times[:200], times[1:200], strict=False)) <= 7


def test_many_edges_at_once_are_the_same_edges(make_bench: Callable[..., Any]) -> None:
    runs = []
    for many in (False, True):
        bench = make_bench()
        zero = bench.release([(0, 0, VALVE1, 2000, 100), (0, 0, FLASH2, 2000, 100)])
        bench.chip.pulses(bench.pin[BEAM2], zero + 700, 90, 20, 40)
        bench.chip.run(5000)
        if many:
            records = bytearray(6 * 50)
            count = bench.port.take_edges(records, 2, 5)
            assert count == 5
            count += bench.port.take_edges(records, 2 + count, 43)
            edges = struct.iter_unpack("<BBI", records[12 : 6 * (2 + count)])
            runs.append([(signal, mark & 1, ticks) for signal, mark, ticks in edges])
            assert bench.port.take_edges(records, 0, 50) == 0
        else:
            runs.append(bench.stamps())
    assert len(runs[0]) == 44
    assert runs[0] == runs[1]


def test_edges_that_the_ring_could_not_keep_are_counted(bench: Any) -> None:
    """After 900 edges that the main loop did not read, the newest are there with right times; the others count as
    lost."""
    zero = bench.release([(0, 0, VALVE1, 100 * MS, 100)])
    start = zero + 10_000
    bench.chip.pulses(bench.pin[BEAM1], start, 1000, 450, 500)
    bench.chip.run_until(start + 460_000)
    taken = bench.stamps()
    assert bench.port.edges_lost > 300
    # The first event is the levels at the start; when it is overwritten too, one change has no edge to tell it by.
    assert bench.port.edges_lost + len(taken) in (900, 901)
    last = start + 449 * 1000 + 500 - zero
    assert abs(taken[-1][2] - last) <= 7
    assert abs(taken[0][2] - (last - (len(taken) - 1) * 500)) <= 7


@pytest.mark.parametrize("phase", range(12))
def test_stamps_lost_before_the_ring_are_noticed(bench: Any, phase: int) -> None:
    """The channel that empties the stamper pauses: FDEBUG.RXSTALL shows it, and no torn pair of words passes for an
    edge, in whichever cycle of writing an event the channel comes back."""
    chip = bench.chip
    zero = bench.release([(0, 0, VALVE1, 100 * MS, 100)])
    bench.line(BEAM1, 1, zero + 1000)
    chip.run_until(zero + 2000)
    channel = bench.port._stamps.channel._dma
    control = chip.mcu.read_uint32(channel._base + 0x10)
    remaining = chip.mcu.read_uint32(channel._base + 0x08)
    channel.active(0)

    def resume() -> None:
        chip.mcu.write_uint32(channel._base + 0x08, remaining)
        chip.mcu.write_uint32(channel._base + 0x0C, control)

    for i in range(9):
        bench.line(BEAM1, i % 2, chip.now + 100 + 50 * i)
    chip.at(chip.now + 500 + phase, resume)
    for i in range(4):
        bench.line(BEAM1, 1 - i % 2, chip.now + 800 + 300 * i)
    chip.run(3000)
    assert bench.port.poll() == 0
    taken = bench.stamps()
    assert bench.port.edges_lost >= 1
    assert len(taken) >= 6
    assert all(s == BEAM1 and 0 < t < chip.now - zero for s, _, t in taken)
    times = [t for _, _, t in taken]
    assert times == sorted(times)
    assert [v for _, v, _ in taken[-3:]] == [0, 1, 0]
    ends = [t - zero for t, g, _ in chip.inputs if g == bench.pin[BEAM1]][-3:]
    # The times of later stamps suffer by the 4 cycles of each event that was lost.
    assert all(abs(a - b) <= 4 * 9 + 7 for a, b in zip(times[-3:], ends, strict=True))


def test_watching_stamps_the_beams_and_moves_no_output(bench: Any) -> None:
    bench.port.watch(True)
    zero = bench.zeros()[-1]
    quiet = len(bench.chip.edges)
    bench.line(BEAM2, 1, zero + 1000)
    bench.line(BEAM2, 0, zero + 2**30 + 5000)  # a watch counts modulo 2^30
    bench.chip.run(2000)
    bench.port.now_ticks()
    bench.chip.run_until(zero + 2**30 + 9000)
    (first, second) = bench.stamps()
    assert first[:2] == (BEAM2, 1) and abs(first[2] - 1000) <= 3
    assert second[:2] == (BEAM2, 0) and abs(second[2] - 5000) <= 7
    assert 8500 < bench.port.now_ticks() < 9500
    assert len(bench.chip.edges) == quiet
    bench.port.watch(False)
    assert bench.port.poll() == 0
