"""The bench itself: skipping quiet time changes nothing."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any


def test_skipping_quiet_time_changes_nothing(make_bench: Callable[..., Any]) -> None:
    runs = []
    for skip in (True, False):
        bench = make_bench()
        bench.chip.skip = skip
        rows = [
            (0, 0, 1, 700, 900),
            (0, 0, 5, 2345, 77),
            (1, 1, 4, 1000, 200),
            (1, 2, 4, 333, 55),
            (1, 2, 6, 2000, 10),
        ]
        zero = bench.release(rows, blanking=1500, dwell=40)
        for at in (1001, 2900, 5003):
            bench.line(9, 1, zero + at)
            bench.line(9, 0, zero + at + 300)
        bench.chip.run(12000)
        runs.append(
            ([(t - zero, g, v) for t, g, v in bench.chip.edges if t >= zero], bench.stamps())
        )
    assert len(runs[0][0]) > 14
    assert runs[0] == runs[1]
