"""Each program alone, cycle by cycle, on a second emulator: rp2040-pio-emulator (pioemu), which shares no code with
rp2040py. It does not know OUT EXEC, so the follower is not among these."""

from __future__ import annotations

from collections import deque
from collections.abc import Callable
from typing import Any

import pioemu
import pytest
from tiers import in_full

BEAM = 0
MARK = 5


def by_clock(levels: Callable[[int], int]) -> Callable[[int], int]:
    """pioemu chooses what to pass to an input source by the type of its parameter, which must not be a string."""

    def source(clock: int) -> int:
        return int(levels(clock))

    source.__annotations__["clock"] = int
    return source


def run_qualifier(programs: Any, beam: Any, dwells: int, blanking: int, cycles: int) -> list[int]:
    """The cycles at whose start the mark has risen. The beam is a function of the cycle."""
    state = pioemu.State(
        y_register=dwells,
        output_shift_register=pioemu.ShiftRegister(blanking, 0),
        pin_directions=1 << MARK,
    )

    words = programs.place(programs.QUALIFIER, 0, 0, 0)
    rises, before = [], 0
    for _, after in pioemu.emulate(
        words, stop_when=lambda _o, s: s.clock >= cycles, initial_state=state, input_source=by_clock(beam),
        set_base=MARK, set_count=1, jmp_pin=BEAM, wrap_target=0, wrap_top=10,
    ):  # fmt: skip
        level = after.pin_values >> MARK & 1
        if level and not before:
            rises.append(after.clock)
        before = level
        if len(after.receive_fifo) == 4:
            after.receive_fifo.clear()
    return rises


@pytest.mark.parametrize("dwells", [1, *in_full(0, 7, 100)])
@pytest.mark.parametrize("edge", [20, 21, 22, 23, 24, 25, 26])
def test_the_mark_follows_the_edge_by_a_constant(bench: Any, dwells: int, edge: int) -> None:
    """The mark rises 5 cycles after the edge, and 2 more for each dwell count, whatever the phase."""
    rises = run_qualifier(
        bench.module.programs, lambda t: t >= edge, dwells, 0, edge + 2 * dwells + 40
    )
    assert rises == [edge + 5 + 2 * dwells]


@pytest.mark.parametrize("dwell", [2, 10, *in_full(1, 3, 51, 200)])
def test_an_edge_counts_only_after_its_dwell(bench: Any, dwell: int) -> None:
    programs, schedule = bench.module.programs, bench.module.schedule
    dwells = schedule.dwell_count(dwell)
    for stays in range(max(1, dwell - 6), dwell):
        rises = run_qualifier(
            programs, lambda t, s=stays: 20 <= t < 20 + s, dwells, 0, 60 + 3 * dwell
        )
        assert rises == [], stays
    for stays in range(dwell + 3, dwell + 9):
        rises = run_qualifier(
            programs, lambda t, s=stays: 20 <= t < 20 + s, dwells, 0, 60 + 3 * dwell
        )
        assert rises == [25 + 2 * dwells], stays


@pytest.mark.parametrize("blanking", [10, *in_full(11, 50, 333)])
@pytest.mark.parametrize("dwells", [0, 3])
def test_the_next_edge_counts_from_the_end_of_the_blanking_on(
    bench: Any, blanking: int, dwells: int
) -> None:
    programs, schedule = bench.module.programs, bench.module.schedule
    blanking += 2 * dwells
    count = schedule.blanking_count(blanking, dwells)
    for gap in range(blanking - 4, blanking + 5):
        low = 20 + gap - 3

        def beam(t: int, low: int = low, gap: int = gap) -> bool:
            return 20 <= t < low or t >= 20 + gap

        rises = run_qualifier(programs, beam, dwells, count, 20 + 3 * blanking + 60)
        first, second = 25 + 2 * dwells, 25 + gap + 2 * dwells
        assert rises == ([first, second] if gap >= blanking else [first]), gap


def test_a_timeline_changes_at_its_ticks(bench: Any) -> None:
    programs, schedule = bench.module.programs, bench.module.schedule
    store = [0] * 200
    words = schedule.Words(0, store, 0, 100)
    timeline = schedule.Timeline(8, words, 0)
    bits = bytearray([255] * 32)
    bits[1], bits[2], bits[7] = 0, 1, 3
    table = bench.table(
        [(0, 0, 1, 100, 40), (0, 0, 2, 103, 500), (0, 0, 7, 200, 3), (0, 0, 1, 203, 5)]
    )
    assert timeline.compile(table, bits) == 0
    feed = deque(store[2 * i] | store[2 * i + 1] << 16 for i in range(words.count))
    zero_pin, zero_at = 20, 50
    state = pioemu.State(
        transmit_fifo=deque(list(feed)[1:]),
        output_shift_register=pioemu.ShiftRegister(feed[0], 0),
        pin_directions=0x1F,
    )

    source = by_clock(lambda clock: (clock >= zero_at) << zero_pin)
    changes, before = [], 0
    for _, after in pioemu.emulate(
        programs.place(programs.TIMELINE, 0, zero_pin, 0), stop_when=lambda _o, s: s.clock > 800,
        initial_state=state, input_source=source, auto_pull=True, out_base=0, out_count=5,
        wrap_target=1, wrap_top=3,
    ):  # fmt: skip
        level = after.pin_values & 0x1F
        if level != before:
            changes.append((after.clock - zero_at, level))
            before = level
    # The zero is seen in the cycle in which it is there; a change is out one cycle later, which is the tick.
    expected = [
        (100, 0b1),
        (103, 0b11),
        (140, 0b10),
        (200, 0b1010),
        (203, 0b11),
        (208, 0b10),
        (603, 0),
    ]
    assert changes == expected


@pytest.mark.parametrize("phase", range(7))
def test_a_stamp_tells_the_round_in_which_the_pins_changed(bench: Any, phase: int) -> None:
    programs = bench.module.programs
    edges = [100 + phase, 400, 411, 900]  # the third comes in the middle of writing the second down
    state = pioemu.State(
        x_register=0xFFFFFFFF,
        output_shift_register=pioemu.ShiftRegister(0, 0),
        pin_directions=1 << 20,
    )

    source = by_clock(lambda clock: sum(clock >= e for e in edges) & 0b111)
    pushed: list[int] = []
    for _, after in pioemu.emulate(
        programs.place(programs.STAMPER, 0, 0, 12), stop_when=lambda _o, s: s.clock > 1000, initial_state=state,
        input_source=source, shift_isr_right=False, set_base=20, set_count=1, wrap_target=5, wrap_top=11,
    ):  # fmt: skip
        while after.receive_fifo:
            pushed.append(after.receive_fifo.popleft())
    events = [(pushed[i], 0xFFFFFFFF - pushed[i + 1]) for i in range(2, len(pushed), 2)]
    looks = [
        programs.STAMPER_FIRST + programs.STAMPER_ROUND * rounds + programs.STAMPER_EVENT * n
        for n, (_, rounds) in enumerate(events)
    ]
    assert [levels for levels, _ in events] == [0, 1, 2, 3, 4]
    assert looks[0] == programs.STAMPER_FIRST
    for edge, before, look in zip(edges, looks, looks[1:], strict=False):
        busy = (
            programs.STAMPER_EVENT
            if before >= edge - programs.STAMPER_ROUND - programs.STAMPER_EVENT
            else 0
        )
        assert edge <= look < edge + programs.STAMPER_ROUND + busy
