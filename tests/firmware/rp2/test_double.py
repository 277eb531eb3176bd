"""The rp2 port with the bench double's profile: the answer to a valve opening is given by the state machines."""

from __future__ import annotations

import math
import random
from collections.abc import Callable
from typing import Any

from beamfall.board_tools.double import find_double_profile
from beamfall.setup.board_profiles import check_profile

VALVES, BEAM, LIGHT = 2, 10, 12  # GPIOs of firmware/bench_double/bench_double_pico.py


def make_double(make_bench: Callable[..., Any]) -> Any:
    profile = find_double_profile()
    check_profile(profile)
    return make_bench("pico", **profile.constants)


def test_chatter_is_played_exactly_from_the_valves_edge(make_bench: Callable[..., Any]) -> None:
    """120 pulses of 50 µs, 100 µs apart, and a light among them: each exactly at its tick of 8 ns."""
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


def test_two_chips_pin_to_pin(make_bench: Callable[..., Any]) -> None:
    """A controller and its double, each the port on an emulated chip, on clocks 27 ppm apart, in random phase.

    What one chip drives reaches the other's pins at the first cycle not before it. Each chip may run ahead of the
    other, because an answer takes longer than that: a drop 2 ms, a flash 1 ms.
    """
    ratio = 1 + 27e-6
    draws = random.Random(2)
    controller, double = make_bench("pico"), make_double(make_bench)
    errors = []
    for _ in range(10):
        there = double.release([(1, 1, 4, 250_000, 40_000), (1, 1, 6, 376_000, 9_000)])
        here = controller.release([(0, 0, 1, 50_000, 100_000), (1, 1, 4, 125_000, 20_000)])
        begun = double.chip.now + draws.random() * 1000

        def to_double(cycle: int, begun: float = begun, here: int = here) -> int:
            return math.ceil(begun + (cycle - here) * ratio)

        def to_controller(cycle: int, begun: float = begun, here: int = here) -> int:
            return math.ceil(here + (cycle - begun) / ratio)

        controller.chip.run_until(here + 200_000)
        pass_on(controller, 2, here, double, VALVES, to_double)
        double.chip.run_until(to_double(here + 350_000))
        pass_on(double, BEAM, there, controller, 10, to_controller)
        controller.chip.run_until(here + 460_000)
        pass_on(controller, 7, here, double, 7, to_double)
        double.chip.run_until(to_double(here + 500_000))
        # What was driven, on the controller's own cycles: the flash to the cycle.
        (dark,) = [
            at
            for at, gpio, level in controller.chip.inputs
            if (gpio, level) == (10, 1) and at > here
        ]
        (flash, _) = controller.on_times(4, here)[0]
        assert here + flash - dark == 125_000
        # What the double says of it by its own stamps, in steps of 7 cycles.
        seen = {(signal, level): ticks for signal, level, ticks in double.stamps()}
        errors.append((seen[11, 1] - seen[4, 1]) / ratio - 125_000)
        # The drop came 2 ms of the double's clock after the valve's edge.
        assert abs((seen[4, 1] - seen[9, 1]) - 250_000) <= 11
        controller.port.stop()
        double.port.stop()
        controller.stamps()
        double.stamps()
    assert max(map(abs, errors)) <= 11 + 1  # 7 cycles a round, 4 for an event; 1 of the phase
    assert abs(sum(errors) / len(errors)) < 5  # no constant offset beyond that


def pass_on(
    source: Any, pin: int, since: int, target: Any, other_pin: int, when: Callable[[int], int]
) -> None:
    """Put what one chip has driven since then to a pin of the other, at that chip's own time."""
    edges = [(at, level) for at, gpio, level in source.chip.edges if gpio == pin and at > since]
    assert len(edges) == 2
    for at, level in edges:
        assert when(at) >= target.chip.now, "the other chip has run too far ahead"
        target.chip.drive(other_pin, level, when(at))
