"""When a valve's coil pulls in and lets go, and what `beamfall board limits` makes of it."""

from __future__ import annotations

import json

import pytest

from beamfall.physics.coil import Coil, CoilCurrent, clamp_energy_j, coil_times, opening_time_s
from tests.support.command_line import run_cli


def test_clamp_energy_by_hand() -> None:
    # 24 Ω, 300 mH from 0.5 A against 36.8 V: t0 = 12.5 ms · ln(1 + 12/36.8) = 3.529 ms; charge 6.25 - 5.411 mC.
    assert clamp_energy_j(0.3, 24, 0.5, 36.8) == pytest.approx(30.9e-3, rel=0.01)


@pytest.mark.parametrize(
    ("henry", "pull_ms", "let_go_ms"),
    # ngspice 39 with hardware's valve deck at nominal parts, 24 Ω and 12 V.
    [
        (0.06, (2.2, 2.6), (0.48, 0.50)),
        (0.15, (5.4, 6.4), (1.19, 1.24)),
        (0.3, (10.8, 12.8), (2.28, 2.37)),
    ],
)
def test_corners_enclose_what_the_simulator_gave(henry, pull_ms, let_go_ms) -> None:
    times = coil_times(24, henry, 12)
    assert times.pull_in_s[0] * 1e3 < pull_ms[0] < pull_ms[1] < times.pull_in_s[1] * 1e3
    assert times.let_go_s[0] * 1e3 < let_go_ms[0] < let_go_ms[1] < times.let_go_s[1] * 1e3


def test_a_slow_coil_needs_a_longer_gap_than_the_board_allows() -> None:
    slow = json.loads(run_cli("board", "limits", "--coil", "24ohm,300mH", "--json").stdout)
    assert not slow["fits"] and slow["valve_gap_us"] > 2000
    quick = json.loads(run_cli("board", "limits", "--coil", "60ohm,60mH", "--json").stdout)
    assert quick["fits"] and quick["valve_gap_us"] < 2000


def test_a_coil_that_takes_too_much_is_refused_for_its_current() -> None:
    hungry = json.loads(run_cli("board", "limits", "--coil", "12ohm,20mH", "--json").stdout)
    assert not hungry["fits"] and hungry["settled_a"] > 0.5


@pytest.mark.parametrize("coil", ["24ohm", "24ohm,150ms", "0ohm,1mH"])
def test_a_coil_that_is_none_gets_one_message(coil) -> None:
    done = run_cli("board", "limits", "--coil", coil)
    assert done.returncode and not done.stdout and len(done.stderr.strip().splitlines()) == 1


def follow(coil: Coil, volt: float, *, moves: bool = True, pulled: bool = False) -> list[float]:
    """The current in A every 50 µs of 20 ms."""
    current = CoilCurrent(coil, moves=moves, pulled=pulled)
    seen = []
    for _ in range(400):
        current.step(volt, 50e-6)
        seen.append(current.current_a)
    return seen


def test_a_stuck_coil_rises_as_the_formula_says_and_settles_at_ohms_law() -> None:
    coil = Coil(ohm=59.0, closed_h=0.06)  # 60 ohm with the loop's 1 ohm
    seen = follow(coil, 24.0, moves=False)
    expected = opening_time_s(0.06, 60.0, 24.0, 0.24)
    reached = next(at for at, ampere in enumerate(seen, 1) if ampere >= 0.24) * 50e-6
    assert reached == pytest.approx(expected, abs=100e-6)
    assert seen[-1] == pytest.approx(24.0 / 60.0, rel=1e-3)


def test_the_current_dips_only_while_the_plunger_moves() -> None:
    def dips(seen: list[float]) -> bool:
        return any(later < 0.98 * earlier for earlier, later in zip(seen, seen[8:], strict=False))

    assert dips(follow(Coil(), 24.0))
    assert not dips(follow(Coil(), 24.0, moves=False))
    assert not dips(follow(Coil(), 24.0, pulled=True))
