"""All machines together, under the port itself: from the beam's edge and the release to the outputs.

Figures are in system clocks of 8 ns. Unless a test says otherwise the port is told how quick the emulator is
(EMULATED_SYNC, see emulated_chip.py), so that every error must be exactly 0.
"""

from __future__ import annotations

import gc
import random
from collections.abc import Callable
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from tiers import examples

US = 125
MS = 125_000
VALVE1, VALVE2, FLASH1, FLASH2, FLASH3, FOCUS, SHUTTER = 1, 2, 4, 5, 6, 7, 8
BEAM1, BEAM2, LIGHT, BUTTON = 9, 10, 11, 12
DELAYS = [24, 10 * US, 100 * US, MS, 10 * MS, 100 * MS, 500 * MS]

in_bench = settings(
    examples(40), suppress_health_check=[HealthCheck.function_scoped_fixture], derandomize=True
)


def test_what_dma_reads_and_writes_is_never_given_away(bench: Any) -> None:
    """A buffer that nothing refers to is freed at the next collection, and DMA would then write into something else."""
    gc.collect()
    assert len(bench.buffers) >= 5
    assert all(buffer() is not None for buffer in bench.buffers)


# -- rows at a beam --------------------------------------------------------------------------------------------
@pytest.mark.parametrize("delay", DELAYS)
def test_the_flash_follows_the_edge_by_its_delay(bench: Any, delay: int) -> None:
    """10 us to 500 ms and the earliest one, edges at any phase: no error at all."""
    assert bench.port.load(bench.table([(1, 1, FLASH1, delay, 2000)], window=1)) == 0
    phases = random.Random(delay)
    for _ in range(8):
        zero = bench.start()
        edge = zero + 5000 + phases.randrange(64)
        bench.line(BEAM1, 1, edge)
        bench.line(BEAM1, 0, edge + 300 * US)
        bench.chip.run_until(edge + delay + 3000)
        assert bench.on_times(FLASH1, edge) == [(delay, delay + 2000)]
        bench.chip.run_until(edge + 301 * US)


@pytest.mark.parametrize("signal", [FLASH1, FLASH2, FLASH3])
@pytest.mark.parametrize("beam", [1, 2])
def test_every_flash_follows_either_beam(bench: Any, signal: int, beam: int) -> None:
    zero = bench.release([(beam, 1, signal, 1234, 567)], window=1)
    bench.line(BEAM1 + beam - 1, 1, zero + 900)
    bench.chip.run(5000)
    assert bench.on_times(signal, zero) == [(2134, 2701)]
    assert [bench.port.counted(1), bench.port.counted(2)] == [int(beam == 1), int(beam == 2)]


@pytest.mark.parametrize("count", [1, 2, 3, 17, 255])
def test_the_row_waits_for_its_count(bench: Any, count: int) -> None:
    zero = bench.release([(1, count, FLASH2, 400, 100)], window=1)
    first, period = zero + 1000, 333
    bench.chip.pulses(bench.pin[BEAM1], first, period, count + 2, 100)
    bench.chip.run_until(first + (count + 3) * period)
    anchor = first + (count - 1) * period - zero
    assert bench.on_times(FLASH2, zero) == [(anchor + 400, anchor + 500)]
    assert bench.port.counted(1) == count + 2


def test_rows_of_several_counts_of_one_flash(bench: Any) -> None:
    rows = [
        (1, 1, FLASH1, 500, 100),
        (1, 1, FLASH1, 900, 50),
        (1, 2, FLASH1, 300, 40),
        (1, 5, FLASH1, 200, 60),
    ]
    zero = bench.release(rows, window=1, blanking=1000)
    edges = [zero + 1000 + n * 2001 for n in range(6)]
    for edge in edges:
        bench.line(BEAM1, 1, edge)
        bench.line(BEAM1, 0, edge + 250)
    bench.chip.run(15000)
    starts = [edges[0] + 500, edges[0] + 900, edges[1] + 300, edges[4] + 200]
    widths = [100, 50, 40, 60]
    assert bench.on_times(FLASH1, zero) == [
        (s - zero, s - zero + w) for s, w in zip(starts, widths, strict=True)
    ]
    assert bench.port.rows_done()


@pytest.mark.parametrize("blanking", [0, 100, 5000])
def test_blanking_adds_no_delay_and_keeps_satellites_out(bench: Any, blanking: int) -> None:
    zero = bench.release([(1, 2, FLASH1, 700, 100)], window=1, blanking=blanking)
    for at in (1000, 1400, 8000):  # a drop, its satellite, the next drop
        bench.line(BEAM1, 1, zero + at)
        bench.line(BEAM1, 0, zero + at + 150)
    bench.chip.run(12000)
    anchor = 8000 if blanking > 400 else 1400
    assert bench.on_times(FLASH1, zero) == [(anchor + 700, anchor + 800)]


@pytest.mark.parametrize("dwell", [1, 50, 51, 12500])
def test_the_delay_counts_from_the_edge_also_with_dwell(bench: Any, dwell: int) -> None:
    delay = dwell + 200
    zero = bench.release([(1, 1, FLASH1, delay, 100)], window=1, dwell=dwell)
    edges = [zero + 2000, zero + 2000 + 3 * dwell + 50]
    bench.line(BEAM1, 1, edges[0])
    bench.line(BEAM1, 0, edges[0] + max(2, dwell - 1))  # too short to count
    bench.line(BEAM1, 1, edges[1])
    bench.line(BEAM1, 0, edges[1] + dwell + 4)
    bench.chip.run(8 * dwell + 6000)
    counted = edges[0] if dwell == 1 else edges[1]
    # 2 ticks are more than a dwell of 1, but less than the 3 the qualifier needs to see it.
    if dwell == 1:
        counted = edges[1]
    assert bench.on_times(FLASH1, zero) == [(counted - zero + delay, counted - zero + delay + 100)]


def test_either_edge_of_a_beam_of_either_polarity(make_bench: Callable[..., Any]) -> None:
    for dark_level in (0, 1):
        for edge_dark in (0, 1):
            bench = make_bench()
            inputs = {**bench.profile.INPUTS, BEAM1: (10, dark_level, "up")}
            bench = make_bench(INPUTS=inputs)
            zero = bench.release([(1, 1, FLASH1, 500, 100)], window=1, beam_edge=(edge_dark, 1))
            bench.line(BEAM1, 1, zero + 1000)
            bench.line(BEAM1, 0, zero + 3000)
            bench.chip.run(500)
            assert not bench.port.beam_dark(1)
            bench.chip.run_until(zero + 2000)
            assert bench.port.beam_dark(1)
            bench.chip.run(4000)
            anchor = 1000 if edge_dark else 3000
            assert bench.on_times(FLASH1, zero) == [(anchor + 500, anchor + 600)]
            seen = [(s, v) for s, v, _ in bench.stamps() if s == BEAM1]
            assert seen == [(BEAM1, 1), (BEAM1, 0)]


@in_bench
@given(st.data())
def test_the_hardware_counts_as_the_core_does(
    make_bench: Callable[..., Any], data: st.DataObject
) -> None:
    """The core counts stamped edges in software under the same two guards: both must agree on the edges."""
    from beamfall_board.beams import Qualifier

    draw = data.draw
    bench = make_bench()
    dwell = draw(st.sampled_from([0, 60, 400]))
    blanking = draw(st.sampled_from([0, 300, 1500]))
    # Away from ties: guards end at ..0 or so, edges lie at ..7; the hardware's grain is 2 cycles for a dwell.
    steps = draw(st.lists(st.sampled_from([37, 97, 197, 457, 1117, 2207]), min_size=2, max_size=24))
    zero = bench.release([(1, 1, FLASH1, 600, 100)], window=1, dwell=dwell, blanking=blanking)
    core = Qualifier()
    core.start(1, blanking, dwell)
    at, level, anchors = 1000, 0, []
    for step in steps:
        level = 1 - level
        bench.line(BEAM1, level, zero + at)
        core.feed(level, at)
        if core.count and (not anchors or anchors[-1] != core.ticks):
            anchors.append(core.ticks)
        at += step
    bench.chip.run_until(zero + at + 5000)
    core.settle(at + 5000)
    assert bench.port.counted(1) == core.count
    if core.count:
        first = anchors[0] if anchors else core.ticks
        assert bench.on_times(FLASH1, zero) == [(first + 600, first + 700)]


# -- rows at the release ---------------------------------------------------------------------------------------
@in_bench
@given(st.data())
def test_release_rows_are_exact(make_bench: Callable[..., Any], data: st.DataObject) -> None:
    draw = data.draw
    bench = make_bench()
    rows, expected = [], {}
    taken: set[int] = set()
    for output in (VALVE1, VALVE2, 3, FOCUS, SHUTTER, FLASH1, FLASH3):
        at = draw(st.integers(16, 3000))
        expected[output] = []
        for _ in range(draw(st.integers(0, 4))):
            width = draw(st.integers(3, 900))
            if output not in (FLASH1, FLASH3):
                while {*range(at - 2, at + 3)} & taken or {
                    *range(at + width - 2, at + width + 3)
                } & taken:
                    at += 1
                taken |= {at, at + width}
            rows.append((0, 0, output, at, width))
            expected[output].append((at, at + width))
            at += width + draw(st.integers(7, 2000))
    if not rows:
        return
    zero = bench.release(rows)
    bench.chip.run(16000)
    for output, pulses in expected.items():
        assert bench.on_times(output, zero) == pulses, output
    assert bench.port.poll() == 0
    assert bench.port.rows_done()


def test_a_long_wait_is_exact_to_the_tick(bench: Any) -> None:
    """A word holds 2^27 ticks, 1.07 s; longer waits take several words. Up to the horizon of 2^30 - 1 ticks."""
    limit = bench.module.schedule.GAP_MAX + 3
    times = [limit + 4, 2 * limit + 8, 3 * limit + 9, 2**30 - 1 - 50]
    zero = bench.release([(0, 0, VALVE1, at, 40) for at in times] + [(0, 0, FLASH1, times[3], 30)])
    bench.chip.run(2**30)
    assert bench.on_times(VALVE1, zero) == [(at, at + 40) for at in times]
    assert bench.on_times(FLASH1, zero) == [(times[3], times[3] + 30)]
    assert bench.port.poll() == 0


def test_all_machines_share_one_zero(bench: Any) -> None:
    """Valve, camera, flash and stamps keep one count over many releases of one table."""
    rows = [
        (0, 0, VALVE1, 1000, 60),
        (0, 0, SHUTTER, 1100, 60),
        (0, 0, FLASH1, 1000, 60),
        (0, 0, FLASH2, 1000, 60),
    ]
    assert bench.port.load(bench.table(rows)) == 0
    for pause in range(9):
        bench.chip.run(101 * pause)
        zero = bench.start()
        bench.chip.run(4000)
        for output, at in ((VALVE1, 1000), (SHUTTER, 1100), (FLASH1, 1000), (FLASH2, 1000)):
            assert bench.on_times(output, zero) == [(at, at + 60)]
        for signal, level, ticks in bench.stamps():
            at = 1100 if signal == SHUTTER else 1000
            assert abs(ticks - at - (0 if level else 60)) <= 3 + 4, (signal, level, ticks)
        bench.port.stop()


def test_the_next_zero_comes_also_where_pins_are_slow_to_show(bench: Any) -> None:
    bench.mem32.shows_at_once = False
    assert bench.port.load(bench.table([(0, 0, VALVE1, 1000, 60), (0, 0, FLASH1, 1000, 60)])) == 0
    for _ in range(3):
        zero = bench.start()
        bench.chip.run(4000)
        assert bench.on_times(VALVE1, zero) == [(1000, 1060)]
        assert bench.on_times(FLASH1, zero) == [(1000, 1060)]
        bench.port.stop()


def test_with_the_chips_own_delays_errors_are_constant(make_bench: Callable[..., Any]) -> None:
    """The value the firmware uses allows for 2 + 1 cycles at a crossing that the emulator does not have."""
    bench = make_bench(sync=2)
    zero = bench.release(
        [(0, 0, VALVE1, 1000, 50), (0, 0, FLASH2, 1000, 50), (1, 1, FLASH1, 700, 50)], window=1
    )
    bench.line(BEAM1, 1, zero + 3000)
    bench.chip.run(5000)
    assert bench.on_times(VALVE1, zero) == [(1000 - 3, 1050 - 3)]
    assert bench.on_times(FLASH2, zero) == [(1000 - 3, 1050 - 3)]
    assert bench.on_times(FLASH1, zero) == [(3700 - 6, 3750 - 6)]
