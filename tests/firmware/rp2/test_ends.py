"""How a shot on the machines ends: abort, last row, missing words, a zero that is not free; and what `load` refuses."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest

VALVE1, VALVE2, FLASH1, FLASH2, FLASH3, FOCUS, SHUTTER = 1, 2, 4, 5, 6, 7, 8
BEAM1, BEAM2, LIGHT, BUTTON = 9, 10, 11, 12


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
    # As many register accesses, each some us of Python on the board.
    assert bench.chip.now - begun < 20 * 12
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
