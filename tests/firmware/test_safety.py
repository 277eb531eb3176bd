"""No table, however made, and no timing of messages holds an output longer than its limit or fires a flash too soon.

Random tables go to the real firmware; whatever it accepts is run, with random beam edges and an abort at a random
moment, and the outputs are judged by what they did, not by what the firmware says. The duty over many openings and long
waits is in test_duty.py."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scripted import BEAM1, BEAM2, HZ, MS, Bench
from tiers import examples

VALVE_MAX, FLASH_MAX, CAMERA_MAX = 200 * MS, 20 * MS, 8000 * MS
VALVE_GAP, FLASH_GAP = 2 * MS, 20 * MS
DUTY_PERCENT, DUTY_WINDOW = 30, 10 * HZ

delays = st.one_of(st.integers(0, 40 * MS), st.integers(0, 900 * MS), st.integers(0, 2**32 - 1))
widths = st.one_of(st.integers(0, 30 * MS), st.integers(0, 250 * MS), st.integers(0, 2**32 - 1))
rows = st.lists(
    st.tuples(st.integers(0, 2), st.integers(0, 3), st.integers(1, 8), delays, widths),
    min_size=1,
    max_size=8,
)
tables = st.fixed_dictionaries(
    {
        "window_ticks": st.one_of(st.just(0), st.integers(0, 2000 * MS), st.integers(0, 2**32 - 1)),
        "tail_ticks": st.one_of(st.integers(0, 50 * MS), st.integers(0, 2**32 - 1)),
        "blanking_ticks": st.one_of(st.just(0), st.integers(0, 50 * MS)),
        "dwell_ticks": st.one_of(st.just(0), st.integers(0, 5 * MS)),
        "beam1_edge": st.integers(0, 1),
        "await1": st.integers(0, 3),
        "await2": st.integers(0, 2),
    }
)


@st.composite
def plausible(draw):
    """Tables near the limits: most are accepted, many of them only just."""
    await1 = draw(st.integers(0, 2))
    chosen = []
    for _ in range(draw(st.integers(1, 4))):
        signal = draw(st.sampled_from([1, 1, 2, 4, 5, 8]))
        anchor = 1 if await1 and signal in (4, 5) else 0
        longest = 200 if signal < 4 else 20 if signal < 7 else 1500
        chosen.append(
            (
                anchor,
                draw(st.integers(1, await1)) if anchor else 0,
                signal,
                draw(st.integers(1, 600)) * MS,
                draw(st.integers(1, longest)) * MS + draw(st.integers(-1, 1)),
            )
        )
    settings_ = {
        "window_ticks": draw(st.integers(1, 2000)) * MS if await1 else 0,
        "tail_ticks": draw(st.integers(0, 50)) * MS,
        "blanking_ticks": draw(st.sampled_from([0, 10, 30])) * MS,
        "dwell_ticks": draw(st.sampled_from([0, 0, 1])) * MS,
        "beam1_edge": draw(st.integers(0, 1)),
        "await1": await1,
        "await2": 0,
    }
    return chosen, settings_


cases = st.one_of(plausible(), plausible(), st.tuples(rows, tables))
beams = st.lists(
    st.tuples(st.sampled_from([BEAM1, BEAM2]), st.integers(1, 900 * MS), st.integers(1, 20 * MS)),
    max_size=8,
)


def judge(bench: Bench) -> None:
    for signal in range(1, 9):
        pulses = bench.rig.pulses(signal)
        assert all(off >= 0 for _, off in pulses), f"output {signal} was left on"
        for on, off in pulses:
            longest = VALVE_MAX if signal < 4 else FLASH_MAX if signal < 7 else CAMERA_MAX
            assert off - on <= longest
        for (on, off), (following, _) in zip(pulses, pulses[1:], strict=False):
            if signal < 4:
                assert following - off >= VALVE_GAP
            elif signal < 7:
                assert following - on >= FLASH_GAP
        if signal < 4:
            for end in [off for _, off in pulses] + [on + DUTY_WINDOW for on, _ in pulses]:
                inside = sum(
                    max(0, min(off, end) - max(on, end - DUTY_WINDOW)) for on, off in pulses
                )
                assert inside * 100 <= DUTY_PERCENT * DUTY_WINDOW


@given(cases, beams, st.integers(0, 3000), st.booleans())
@examples(300)
def test_outputs_keep_their_limits_whatever_is_sent(case, beam_pulses, abort_ms, shuffled) -> None:
    rows, table = case
    bench = Bench()
    if not shuffled:
        rows = sorted(rows, key=lambda row: (row[0], row[1], row[3], row[2]))
    answer, digest = bench.upload(rows, **table)
    for number in range(1, 4):
        for signal, start, dwell in beam_pulses:
            bench.rig.at(bench.now + start, signal, 1)
            bench.rig.at(bench.now + start + dwell, signal, 0)
        accepted = bench.release(digest, number).name == "done"
        assert not (accepted and answer.name == "refused")
        bench.transport.sleep(abort_ms / 1000)
        bench.ask("abort")
        if not accepted:
            break
    bench.run(0.1)
    judge(bench)


@pytest.mark.full
def test_the_strategies_do_reach_running_tables() -> None:
    """A property over tables that are all refused would prove nothing."""
    ran = 0

    @given(cases)
    @settings(max_examples=200, deadline=None, database=None, derandomize=True)
    def run(case) -> None:
        nonlocal ran
        rows, table = case
        bench = Bench()
        rows = sorted(rows, key=lambda row: (row[0], row[1], row[3], row[2]))
        answer, digest = bench.upload(rows, **table)
        ran += answer.name == "done" and bench.release(digest).name == "done"

    run()
    assert ran >= 40
