"""All machines together, under the port itself: from the beam's edge and the release to the outputs.

Figures are in system clocks of 8 ns. Unless a test says otherwise the port is told how quick the emulator is
(EMULATED_SYNC, see rp2_bench.py), so that every error must be exactly 0.
"""

from __future__ import annotations

import gc
import random
import struct
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
    examples(40),
    suppress_health_check=[HealthCheck.function_scoped_fixture],
    derandomize=True,
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
    if (
        dwell == 1
    ):  # 2 ticks are more than a dwell of 1, but less than the 3 the qualifier needs to see it
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


# -- ends ------------------------------------------------------------------------------------------------------
@pytest.mark.parametrize("active_high", [True, False])
def test_abort_puts_every_output_off(make_bench: Callable[..., Any], active_high: bool) -> None:
    plain = make_bench()
    outputs = {
        s: (p, active_high if s % 2 else True) for s, (p, _) in plain.profile.OUTPUTS.items()
    }
    bench = make_bench(OUTPUTS=outputs)
    assert bench.chip.levels == {
        **{bench.pin[s]: bench.level_of(s, 0) for s in outputs},
        20: 0,
        21: 0,
        22: 0,
    }
    rows = [(0, 0, s, 500 + 20 * s, 50_000) for s in outputs if s != FLASH1] + [
        (1, 1, FLASH1, 100, 50_000)
    ]
    zero = bench.release(rows, window=1)
    bench.line(BEAM1, 1, zero + 300)
    bench.chip.run(2000)
    assert all(bench.chip.levels[bench.pin[s]] == bench.level_of(s, 1) for s in outputs)
    begun = bench.chip.now
    bench.port.outputs_off()
    assert all(bench.chip.levels[bench.pin[s]] == bench.level_of(s, 0) for s in outputs)
    assert (
        bench.chip.now - begun < 20 * 12
    )  # as many register accesses, each some us of Python on the board
    bench.port.stop()
    bench.chip.run(200_000)
    assert all(bench.chip.levels[bench.pin[s]] == bench.level_of(s, 0) for s in outputs)
    offs = [(s, t) for s, v, t in bench.stamps() if s != BEAM1 and not v]
    assert {s for s, _ in offs} == set(outputs)  # the abort itself is in the record
    # And the next shot runs as if nothing had been.
    zero = bench.release(rows, window=1)
    bench.chip.run(60_000)
    assert bench.on_times(VALVE1, zero) == [(520, 50_520)]
    assert bench.on_times(FLASH1, zero) == []


def test_no_channel_is_aborted_while_it_is_enabled(
    bench: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Erratum RP2350-E5: the abort would start it again. The channel it chains to must stay itself, too."""
    registers = bench.chip.mcu
    write = registers.write_uint32
    seen = []

    def record(address: int, value: int) -> None:
        if address == 0x50000444:  # CHAN_ABORT
            channel = value.bit_length() - 1
            control = registers.read_uint32(0x50000010 + 0x40 * channel)
            seen.append((channel, control & 1, control >> 11 & 15))
        write(address, value)

    monkeypatch.setattr(
        type(registers), "write_uint32", lambda _self, address, value: record(address, value)
    )
    bench.release([(0, 0, VALVE1, 5000, 100), (1, 1, FLASH1, 1000, 100)], window=1)
    seen.clear()
    bench.port.stop()
    assert {channel for channel, _, _ in seen} >= {0, 1, 4, 6}, (
        "the players', a beam's and the stamps'"
    )
    assert all(not enabled for _, enabled, _ in seen)
    assert all(chained == channel for channel, _, chained in seen), seen


def test_no_output_moves_at_load_or_when_machines_take_over(make_bench: Callable[..., Any]) -> None:
    plain = make_bench()
    outputs = {s: (p, s % 2 == 0) for s, (p, _) in plain.profile.OUTPUTS.items()}
    bench = make_bench(OUTPUTS=outputs)
    pins = {bench.pin[s] for s in outputs}
    before = [e for e in bench.chip.edges if e[1] in pins]
    bench.release([(0, 0, s, 5000, 100) for s in outputs])
    bench.chip.run(4000)
    assert [e for e in bench.chip.edges if e[1] in pins] == before


def test_rows_done_when_the_last_row_is_over(bench: Any) -> None:
    zero = bench.release(
        [(0, 0, VALVE1, 1000, 500), (1, 1, FLASH1, 3000, 700), (1, 2, FLASH2, 100, 50)], window=1
    )
    bench.chip.run_until(zero + 2000)
    assert not bench.port.rows_done()
    bench.line(BEAM1, 1, zero + 3000)
    bench.line(BEAM1, 0, zero + 3100)
    bench.chip.run_until(zero + 6500)
    assert not bench.port.rows_done()  # flash 1 is on
    bench.chip.run_until(zero + 9000)
    assert not bench.port.rows_done()  # flash 2 still waits
    bench.line(BEAM1, 1, zero + 10_000)
    bench.chip.run_until(zero + 10_300)
    assert bench.port.rows_done()
    assert bench.port.poll() == 0


def test_machines_that_run_out_of_rows_are_noticed(bench: Any) -> None:
    rows = [(0, 0, VALVE1, 1000 + 400 * i, 200) for i in range(6)]
    zero = bench.release(rows)
    assert bench.port.poll() == 0
    bench.port._feeds[0].stop()  # as if DMA had been starved
    bench.chip.run_until(zero + 20_000)
    assert bench.port.poll() == bench.module.POLL_OVERRUN


def test_a_zero_that_does_not_come_is_noticed(bench: Any) -> None:
    assert bench.port.load(bench.table([(0, 0, VALVE1, 1000, 100)])) == 0
    bench.chip.drive(bench.profile.ZERO_PIN, 0)  # shorted to ground
    bench.port.start()
    assert bench.port.poll() & bench.module.POLL_FAILURE


def test_nothing_runs_when_the_zero_is_up_before_the_release(bench: Any) -> None:
    assert bench.port.load(bench.table([(0, 0, VALVE1, 1000, 100), (0, 0, FLASH1, 900, 50)])) == 0
    bench.chip.drive(bench.profile.ZERO_PIN, 1)  # shorted to the supply
    bench.port.start()
    bench.chip.run(5000)
    assert bench.port.poll() & bench.module.POLL_FAILURE
    assert bench.on_times(VALVE1) == [] and bench.on_times(FLASH1) == []
    bench.port.stop()


# -- what cannot be honoured -----------------------------------------------------------------------------------
def test_refusals_name_the_row_and_the_cure(bench: Any) -> None:
    from beamfall_board import wire_definition as wire

    port, conflict, early = bench.port, wire.REFUSAL_MACHINE_CONFLICT, wire.REFUSAL_TOO_EARLY
    cases: list[
        tuple[list[tuple[int, int, int, int, int]], dict[str, int], tuple[int, int, int]]
    ] = [
        ([(0, 0, VALVE1, 1000, 100), (0, 0, VALVE2, 1001, 500)], {}, (conflict, 1, 0)),
        ([(0, 0, VALVE1, 1000, 100), (0, 0, VALVE2, 1102, 500)], {}, (conflict, 1, 0)),
        ([(0, 0, VALVE1, 3, 100)], {}, (early, 0, 4)),
        ([(0, 0, FLASH1, 4, 100)], {}, (early, 0, 5)),
        ([(1, 1, FLASH1, 8, 100)], {}, (early, 0, 9)),
        ([(1, 1, FLASH1, 1000, 100)], {"dwell": 1000}, (early, 0, 9 + 2 * 499)),
        ([(1, 1, FLASH1, 1000, 100), (1, 2, FLASH1, 50, 100)], {}, (conflict, 1, 0)),
        (
            [(1, 1, FLASH1, 1000, 100), (1, 2, FLASH1, 50, 100)],
            {"blanking": 1107},
            (conflict, 1, 0),
        ),
        ([(1, 1, FLASH1, 1000, 100), (1, 1, FLASH1, 1106, 100)], {}, (conflict, 1, 0)),
        ([(1, 1, FLASH1, 1000, 2)], {}, (conflict, 0, 0)),
    ]
    for rows, head, expected in cases:
        reason = port.load(bench.table(rows, window=1, **head))
        assert (reason, port.fault_row, port.fault_detail) == expected, rows
    assert port.load(bench.table([(0, 0, VALVE1, 1000, 100), (0, 0, VALVE2, 1000, 100)])) == 0
    assert port.load(bench.table([(0, 0, VALVE1, 1000, 100), (0, 0, VALVE2, 1003, 100)])) == 0
    rows = [(1, 1, FLASH1, 1000, 100), (1, 2, FLASH1, 50, 100)]
    assert port.load(bench.table(rows, window=1, blanking=1108)) == 0
    many = [(1, n, FLASH1, 50, 10) for n in range(1, 65)]
    assert port.load(bench.table(many, window=1, blanking=100)) == 0
    assert port.load(bench.table([(1, 255, FLASH1, 50, 10)] * 64, window=1)) == conflict


def test_the_earliest_rows_promised_can_be_had(make_bench: Callable[..., Any]) -> None:
    bench = make_bench(sync=2)
    port = bench.port
    rows = [
        (0, 0, VALVE1, port.earliest_ticks, 10),
        (0, 0, FLASH1, port.earliest_ticks, 10),
        (1, 1, FLASH2, port.earliest_beam_ticks, 10),
    ]
    assert port.load(bench.table(rows, window=1)) == 0
