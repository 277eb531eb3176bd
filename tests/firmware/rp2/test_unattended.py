"""What the pins do when the main loop hangs after a release, or raises before it can switch anything off.

The rows are the longest that the profile of a Pico allows (firmware/boards/pico.py). The watchdog restarts a board that
hangs after 8 s: until then the machines alone must end what they have begun.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest
from tiers import in_full

MS = 125_000
VALVE1, VALVE2, VALVE3, FLASH1, FLASH2, FLASH3, FOCUS, SHUTTER = 1, 2, 3, 4, 5, 6, 7, 8
BEAM1, BEAM2 = 9, 10
VALVE_MAX, FLASH_MAX, CAMERA_MAX, RINSE_MAX = 200 * MS, 20 * MS, 8000 * MS, 5000 * MS
HORIZON = 2**30  # 8.6 s: no shot is longer
ROWS = [
    (0, 0, VALVE1, 2 * MS, VALVE_MAX),
    (0, 0, VALVE2, 3 * MS, VALVE_MAX),
    (0, 0, VALVE1, 2500 * MS, VALVE_MAX),  # more than two words of waiting after the one before
    (0, 0, VALVE3, 8000 * MS, VALVE_MAX),
    (0, 0, FOCUS, MS, CAMERA_MAX),
    (0, 0, SHUTTER, 5 * MS, CAMERA_MAX),
    (0, 0, FLASH2, 10 * MS, FLASH_MAX),
    (1, 1, FLASH1, 30 * MS, FLASH_MAX),
    (1, 2, FLASH1, 30 * MS, FLASH_MAX),
    (2, 1, FLASH3, MS, FLASH_MAX),
]


def rows_of(output: int) -> list[tuple[int, int]]:
    return [(at, at + width) for anchor, _, o, at, width in ROWS if o == output and not anchor]


@pytest.fixture(params=[True, False], ids=["active high", "active low"])
def unattended(make_bench: Callable[..., Any], request: pytest.FixtureRequest) -> Any:
    plain = make_bench()
    return make_bench(
        OUTPUTS={s: (p, request.param) for s, (p, _) in plain.profile.OUTPUTS.items()}
    )


def is_off(bench: Any) -> bool:
    return all(
        bench.chip.levels[bench.pin[s]] == bench.level_of(s, 0) for s in bench.profile.OUTPUTS
    )


def test_every_kind_of_row_ends_by_itself(unattended: Any) -> None:
    bench = unattended
    zero = bench.release(ROWS, window=5000 * MS, blanking=200 * MS)
    edges = [zero + at * MS for at in (300, 700)]
    for at in edges:
        bench.line(BEAM1, 1, at)
        bench.line(BEAM1, 0, at + 3 * MS)
    # The other beam chatters until the ring of stamps has long been overrun, since nobody empties it.
    high = bench.level_of(BEAM2, 1)
    bench.chip.pulses(bench.pin[BEAM2], zero + 1000 * MS, 20_000, 600, 9_000, high)
    bench.chip.run_until(zero + 100 * MS)
    assert not is_off(bench)
    bench.chip.run_until(zero + HORIZON + 4 * 2**27)  # past the last word of every machine
    for output in (VALVE1, VALVE2, VALVE3, FOCUS, SHUTTER, FLASH2):
        assert bench.on_times(output, zero) == rows_of(output), output
    assert bench.on_times(FLASH1, zero) == [
        (at - zero + 30 * MS, at - zero + 30 * MS + FLASH_MAX) for at in edges
    ]
    assert bench.on_times(FLASH3, zero) == [(1001 * MS, 1001 * MS + FLASH_MAX)]
    assert is_off(bench)


@pytest.mark.parametrize("valve", [VALVE1, VALVE2, VALVE3])
def test_a_rinse_ends_by_itself(unattended: Any, valve: int) -> None:
    from beamfall_board.table import Table

    bench = unattended
    service = Table(1)
    service.make_single(valve, RINSE_MAX, bench.port.earliest_ticks, 1200 * MS)
    assert bench.port.load(service) == 0
    zero = bench.start()
    bench.chip.run_until(zero + HORIZON + 4 * 2**27)
    assert bench.on_times(valve, zero) == [(16, 16 + RINSE_MAX)]
    assert is_off(bench)


@pytest.mark.parametrize("at_ms", [4, 340, *in_full(1, 15, 100, 1010, 7000)])
def test_what_raises_in_the_main_loop_ends_with_every_output_off(
    unattended: Any, at_ms: int
) -> None:
    """The core's answer to any exception is outputs_off and then stop (board.py, controller.py)."""
    bench = unattended
    zero = bench.release(ROWS, window=5000 * MS, blanking=200 * MS)
    for at in (300, 700):
        bench.line(BEAM1, 1, zero + at * MS)
        bench.line(BEAM1, 0, zero + (at + 3) * MS)
    bench.line(BEAM2, 1, zero + 1000 * MS)
    bench.chip.run_until(zero + at_ms * MS + 50)
    assert not is_off(bench)
    bench.port.outputs_off()
    assert is_off(bench)
    begun = len(bench.chip.edges)
    bench.chip.run_until(zero + 2000 * MS if at_ms < 2000 else zero + HORIZON)
    outputs = {bench.pin[s] for s in bench.profile.OUTPUTS}
    assert not [edge for edge in bench.chip.edges[begun:] if edge[1] in outputs]
    bench.port.stop()
    assert is_off(bench)


@pytest.mark.parametrize("machine", [0, *in_full(1, 2, 3)])
def test_an_output_that_its_machine_cannot_end_is_told_by_the_next_look(
    bench: Any, machine: int
) -> None:
    """Only DMA brings words to a machine. If it stops, a row may not end, and `poll` must report that, so that the core
    switches the outputs off. Tried at every stage of many short rows."""
    stuck = 0
    for stop_at in range(3000, 3600, 37):
        rows = [(0, 0, VALVE1 + n % 3, 2000 + 200 * n, 150) for n in range(12)]
        rows += [(0, 0, flash, 2000 + 200 * n, 150) for flash in (4, 5, 6) for n in range(12)]
        zero = bench.release(rows)
        bench.chip.run_until(zero + stop_at)
        bench.port._feeds[machine].stop()
        bench.chip.run_until(zero + 20_000)
        outputs = (VALVE1, VALVE2, VALVE3, FOCUS, SHUTTER) if machine == 0 else (3 + machine,)
        on = [
            s
            for s in bench.profile.OUTPUTS
            if bench.chip.levels[bench.pin[s]] == bench.level_of(s, 1)
        ]
        assert set(on) <= set(outputs)
        told = bench.port.poll()
        assert told == bench.module.POLL_OVERRUN
        stuck += bool(on)
        bench.port.stop()
        assert is_off(bench)
    if machine == 0:
        assert stuck  # or this would prove little
