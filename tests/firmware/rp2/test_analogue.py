"""The ADC and DMA of the emulated chip measure around each opening, whatever the program does meanwhile.

rp2040py's round robin never leaves channel 0 (it masks the channel with a shift count); the tests mend that. Not shown
here: the converter's own errors, the RP2350's addresses and request number, and which cycle the first conversion takes.
"""

from __future__ import annotations

import sys
from collections.abc import Callable
from types import SimpleNamespace
from typing import Any

import pytest
from rp2040py.peripherals.adc import CS_AINSEL_MASK, CS_AINSEL_SHIFT, RPADC

MS = 125_000
VALVE1, FLASH1 = 1, 4
TURN = 2000  # steps after which both lines begin again


@pytest.fixture
def measured(make_bench: Callable[..., Any], monkeypatch: pytest.MonkeyPatch) -> Any:
    """A bench whose coil line shows the time in steps of 10 µs, and whose supply line 2000 steps more."""

    def select(adc: Any, channel: int) -> None:
        adc.cs &= ~(CS_AINSEL_MASK << CS_AINSEL_SHIFT)
        adc.cs |= channel << CS_AINSEL_SHIFT

    found = property(lambda adc: adc.cs >> CS_AINSEL_SHIFT & CS_AINSEL_MASK, select)
    monkeypatch.setattr(RPADC, "_active_channel", found)
    bench = make_bench(COIL_CURRENT=(26, 1000), SUPPLY_VOLTAGE=(27, 1000))
    adc = bench.chip.mcu.adc

    def convert(channel: int) -> None:
        # The clock stands at the alarm; the bench itself may have jumped over it.
        adc.channel_values[channel] = int(bench.chip.clock.nanos) // 10_000 % TURN + TURN * channel
        adc._default_on_adc_read(channel)

    adc.on_adc_read = convert
    return bench


def go_on(bench: Any, until: int, every: int = MS) -> None:
    """Let time pass, with a poll of the main loop now and then."""
    while bench.chip.now < until:
        bench.chip.run_until(min(until, bench.chip.now + every))
        bench.port.poll()


def show(bench: Any, part: int) -> list[tuple[int, int]]:
    readings = bench.port.readings
    return [
        (readings.current_ma(part, at), readings.supply_mv(part, at))
        for at in range(readings.count(part))
    ]


def assert_true(bench: Any, zero: int, part: int) -> None:
    """Both lines are as they were at the times that the readings claim, within 50 µs: the main loop's clock counts
    microseconds, and starting the converter takes some."""
    readings = bench.port.readings
    for at, (current, supply) in enumerate(show(bench, part)):
        ticks = zero + readings.start(part) + at * readings.spacing
        for steps, when in ((current, ticks), (supply - TURN, ticks + readings.spacing // 2)):
            assert (steps - when // 1250 + 5) % TURN <= 10


def test_each_opening_is_measured_from_before_it_at_the_times_that_are_claimed(
    measured: Any,
) -> None:
    rows = [(0, 0, VALVE1, 20 * MS, 5 * MS), (0, 0, VALVE1, 60 * MS, 5 * MS)]
    zero = measured.release([*rows, (0, 0, FLASH1, 70 * MS, MS)])
    go_on(measured, zero + 90 * MS)
    measured.port.stop()
    readings = measured.port.readings
    assert readings.parts == 2
    for part, opens in enumerate((20 * MS, 60 * MS)):
        assert opens - 4 * MS <= readings.start(part) <= opens - 2 * MS
        assert readings.count(part) == 54
        assert_true(measured, zero, part)
    assert measured.on_times(VALVE1, zero) == [(20 * MS, 25 * MS), (60 * MS, 65 * MS)]
    assert measured.on_times(FLASH1, zero) == [(70 * MS, 71 * MS)]


def test_what_opens_at_once_is_measured_from_the_release(measured: Any) -> None:
    for _ in range(2):  # nothing of the first is left in the second
        zero = measured.release([(0, 0, VALVE1, 1000, 5 * MS)])
        go_on(measured, zero + 30 * MS)
        measured.port.stop()
        assert (measured.port.readings.parts, measured.port.readings.start(0)) == (1, 0)
        assert_true(measured, zero, 0)


def test_a_late_main_loop_starts_late_and_says_so_or_leaves_the_opening_out(measured: Any) -> None:
    rows = [(0, 0, VALVE1, 20 * MS, MS), (0, 0, VALVE1, 60 * MS, MS)]
    zero = measured.release(rows)
    go_on(measured, zero + 22 * MS, every=22 * MS)
    go_on(measured, zero + 50 * MS)
    go_on(measured, zero + 90 * MS, every=40 * MS)
    measured.port.stop()
    readings = measured.port.readings
    assert readings.parts == 1
    assert 22 * MS - 200 <= readings.start(0) < 23 * MS
    assert_true(measured, zero, 0)


def test_an_abort_cuts_the_readings_short(measured: Any) -> None:
    zero = measured.release([(0, 0, VALVE1, 20 * MS, 5 * MS)])
    go_on(measured, zero + 19 * MS)
    measured.port.stop()
    assert 5 <= measured.port.readings.count(0) <= 10
    assert_true(measured, zero, 0)
    measured.chip.run(20 * MS)
    assert 5 <= measured.port.readings.count(0) <= 10, "nothing is added after the end"


def test_steps_become_milliamperes_and_millivolts(make_bench: Callable[..., Any]) -> None:
    """464 steps are 374 mV: 200 mA at 1.87 V per ampere. 2708 steps are 2182 mV: an eleventh of 24 V."""
    bench = make_bench()
    bench.chip.mcu.adc.channel_values[:] = [464] * 5  # the round robin as it is: one line for both
    zero = bench.release([(0, 0, VALVE1, 1000, 5 * MS)])
    go_on(bench, zero + 5 * MS)
    bench.chip.mcu.adc.channel_values[:] = [2708] * 5
    go_on(bench, zero + 20 * MS)
    bench.port.stop()
    assert show(bench, 0)[0][0] == pytest.approx(200, abs=1)
    assert show(bench, 0)[-1][1] == pytest.approx(24_000, abs=20)


def test_a_board_without_these_lines_measures_nothing(make_bench: Callable[..., Any]) -> None:
    assert make_bench(open_pin_steps=65535).port.readings is None, "an open pin, pulled up"
    find = sys.modules["ports.rp2.analogue"].find_analogue
    assert find(SimpleNamespace(OUTPUTS={}), 125_000_000, None) is None
