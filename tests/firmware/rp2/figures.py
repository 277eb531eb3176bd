"""Prints the figures of the rp2 port on the emulated PIO, DMA and GPIO blocks: `python tests/firmware/rp2/figures.py`.

No CPU is emulated here, so garbage collection and USB cannot matter; tests/board/emulated_board.py has the whole board.
"""

from __future__ import annotations

import random
import sys
import time
from pathlib import Path
from typing import Any

import pytest

sys.path[:0] = [str(Path(__file__).parent), str(Path(__file__).resolve().parents[3] / "firmware")]

from emulated_chip import CYCLE_NS  # noqa: E402
from rp2_bench import EMULATED_SYNC, Bench  # noqa: E402

US = 125
MS = 125_000
PULSES = 200
EDGES = 100_000


def show(name: str, errors: list[int]) -> None:
    low, high = CYCLE_NS * min(errors), CYCLE_NS * max(errors)
    print(
        f"{name:44} n {len(errors):6}  min {low:6.1f}  max {high:6.1f}  spread {high - low:5.1f} ns"
    )


def measure_delays(patch: Any, sync: int) -> None:
    chance = random.Random(1)
    for delay_us in (10, 100, 1000, 10_000, 100_000, 500_000):
        bench = Bench(patch, sync=sync)
        delay = delay_us * US
        assert bench.port.load(bench.table([(1, 1, 4, delay, 2000)], window=1)) == 0
        errors = []
        for _ in range(PULSES):
            edge = bench.start() + 5000 + chance.randrange(1000)
            bench.line(9, 1, edge)
            bench.line(9, 0, edge + 5 * US)
            bench.chip.run_until(edge + delay + 3000)
            ((on, _off),) = bench.on_times(4, edge)
            errors.append(on - delay)
            bench.port.stop()
        show(f"edge to flash, {delay_us / 1000:g} ms", errors)


def measure_release(patch: Any, sync: int) -> None:
    chance = random.Random(2)
    bench = Bench(patch, sync=sync)
    errors = []
    while len(errors) < PULSES * 2:
        at = [chance.randrange(20, 900_000) + 1_000_000 * i for i in range(20)]
        zero = bench.release([(0, 0, (1, 2, 3, 8)[i % 4], t, 5000) for i, t in enumerate(at)])
        bench.chip.run(21_000_000)
        for output in (1, 2, 3, 8):
            planned = [t for i, t in enumerate(at) if (1, 2, 3, 8)[i % 4] == output]
            for (on, off), t in zip(bench.on_times(output, zero), planned, strict=True):
                errors += [on - t, off - t - 5000]
        bench.port.stop()
    show("rows at the release, on and off", errors)


def measure_stamps(patch: Any) -> None:
    chance = random.Random(3)
    bench = Bench(patch)
    zero = bench.release([(0, 0, 1, 400 * MS, 100)])
    edges, at, levels = [], zero + 1000, {9: 0, 10: 0, 11: 0, 12: 0}
    errors: list[int] = []
    for _ in range(10):
        edges, at = [], max(at, bench.chip.now)
        for _ in range(200):
            at += chance.randrange(20, 2000)
            signal = chance.choice(list(levels))
            levels[signal] ^= 1
            bench.line(signal, levels[signal], at)
            edges.append(at - zero)
        bench.chip.run_until(at + 100)
        errors += [stamp[2] - edge for stamp, edge in zip(bench.stamps(), edges, strict=True)]
    show("stamps of four inputs", errors)


def measure_bursts(patch: Any) -> None:
    bench = Bench(patch)
    bench.port.watch(True)
    begin = bench.zeros()[-1] + 1000
    taken, lost, begun = 0, 0, time.monotonic()
    for burst in range(EDGES // 200):
        start = begin + burst * (4 + 20) * MS
        bench.chip.pulses(bench.pin[9], start, 5000, 100, 2500)
        bench.chip.run_until(start + 22 * MS)
        while bench.port.next_edge():
            taken += 1
    lost = bench.port.edges_lost
    print(
        f"bursts of 200 edges at 50 kHz, 20 ms apart: {taken} of {EDGES} edges taken, {lost} lost"
    )
    start = bench.chip.now + 1000
    bench.chip.pulses(bench.pin[9], start, 5000, 1000, 2500)
    bench.chip.run_until(start + 5_010_000)
    more = 0
    while bench.port.next_edge():
        more += 1
    print(
        f"one burst of 2000 edges, nobody looking: {more} taken, {bench.port.edges_lost - lost} lost and counted"
    )
    print(f"({time.monotonic() - begun:.0f} s)")


def main() -> None:
    with pytest.MonkeyPatch.context() as patch:
        print("the port told of the emulator's own delays:")
        measure_delays(patch, EMULATED_SYNC)
        measure_release(patch, EMULATED_SYNC)
        measure_stamps(patch)
        measure_bursts(patch)
        print("the port as on a chip (the emulator is 6 and 3 cycles quicker):")
        measure_delays(patch, 2)
        measure_release(patch, 2)


if __name__ == "__main__":
    main()
