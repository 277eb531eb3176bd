"""The rp2 port with the bench double's profile: the answer to a valve opening is given by the state machines."""

from __future__ import annotations

import random
from collections.abc import Callable
from typing import Any

from beamfall.boards import check_profile
from beamfall.double import find_double_profile

VALVES, BEAM, LIGHT = 2, 10, 12  # GPIOs of firmware/bench_double/bench_double_pico.py


def make_double(make_bench: Callable[..., Any]) -> Any:
    profile = find_double_profile()
    check_profile(profile)
    return make_bench("pico", **profile.constants)


def test_chatter_is_played_exactly_from_the_valves_edge(make_bench: Callable[..., Any]) -> None:
    """120 pulses of 50 µs, 100 µs apart, and a light among them: each 8 ns of the clock where it was asked for."""
    double = make_double(make_bench)
    delays = [250_000 + 12_500 * n for n in range(120)]
    rows = [(1, 1, 4, delay, 6_250) for delay in delays] + [(1, 1, 6, 300_001, 125_000)]
    zero = double.release(sorted(rows, key=lambda row: (row[0], row[1], row[3], row[2])))
    opened = zero + 40_003
    double.chip.drive(VALVES, 1, opened)
    double.chip.drive(VALVES, 0, opened + 20_000)
    double.chip.run(2_000_000)
    dark = [at - opened for at in double.chip.output_edges(BEAM, 1) if at > zero]
    clear = [at - opened for at in double.chip.output_edges(BEAM, 0) if at > zero]
    assert dark == delays
    assert clear == [delay + 6_250 for delay in delays]
    # The light's line is on when low.
    assert [at - opened for at in double.chip.output_edges(LIGHT, 0) if at > zero] == [300_001]


def test_the_answer_does_not_move_with_the_valves_phase(make_bench: Callable[..., Any]) -> None:
    draws = random.Random(1)
    errors = set()
    for _ in range(5):
        double = make_double(make_bench)
        zero = double.release([(1, 1, 4, 20_000, 5_000)])
        opened = zero + draws.randrange(5_000, 9_000)
        double.chip.drive(VALVES, 1, opened)
        double.chip.run(60_000)
        (dark,) = [at for at in double.chip.output_edges(BEAM, 1) if at > zero]
        errors.add(dark - opened - 20_000)
    assert errors == {0}


def test_at_rest_the_controller_sees_a_clear_beam_no_light_and_no_press(
    make_bench: Callable[..., Any],
) -> None:
    double = make_double(make_bench)
    assert [double.chip.levels.get(pin) for pin in (10, 11, 12, 13)] == [0, 0, 1, 1]
