"""Two simulated boards connected pin to pin: the bench names what is wrong with wires and clocks."""

from __future__ import annotations

import random
from pathlib import Path

import pytest

from beamfall.board_tools.bundle import choose_sources
from beamfall.board_tools.double import (
    WIRES,
    Bench,
    find_double_profile,
    list_wires,
    measure_ratio,
    test_wires,
)
from beamfall.board_tools.double.clocks import ClockRatio, fit_ratio
from beamfall.board_tools.double.drops import pretend
from beamfall.board_tools.double.run import BenchRun, make_two_drops, run_shots
from beamfall.board_tools.double.wiring import make_table
from beamfall.board_tools.errors import BenchError
from beamfall.errors import BoardProfileError, Refused, WrongValue
from beamfall.setup.board_profiles import check_profile, find_profile, read_profile
from beamfall.setup.limits import BoardLimits
from beamfall.setup.rig import example_rig
from beamfall.setup.sequence import Row, Sequence
from beamfall.sim.build import draw_model

README = Path(__file__).resolve().parents[2] / "firmware" / "bench_double" / "README.md"
PICO = find_profile("pico")


@pytest.mark.parametrize("name", [wire.name for wire in WIRES])
def test_a_missing_wire_is_named_and_no_other(name: str) -> None:
    with Bench.simulate(PICO, missing=[name]) as bench:
        found = test_wires(bench)
        assert [(one.wire.name, one.seen_at) for one in found.wrong] == [(name, ())]
        with pytest.raises(BenchError) as caught:
            found.require()
        assert caught.value.parts == (name,)


def test_without_its_wire_the_beam_is_dark_and_the_release_refused() -> None:
    """The profile pulls the beam's input up, and high is dark: an unplugged beam looks like a blocked one."""
    with Bench.simulate(PICO, missing=["double flash1 to controller beam1"]) as bench:
        assert bench.controller.status().beams_dark == 1
        with pytest.raises(Refused) as refusal:
            bench.controller.shoot(make_two_drops(0.013, 0.01))
        assert refusal.value.reason == "beam_blocked"


def test_wires_in_each_others_place_are_named() -> None:
    pair = ("controller valve2 to double beam1", "controller flash3 to double light1")
    with Bench.simulate(PICO, crossed=[pair]) as bench:
        assert [(one.wire.name, one.seen_at) for one in test_wires(bench).wrong] == [
            (pair[0], ("light1",)),
            (pair[1], ("beam1",)),
        ]


def test_no_wire_at_all_points_at_the_ground() -> None:
    names = [wire.name for wire in WIRES]
    with Bench.simulate(PICO, missing=names) as bench, pytest.raises(BenchError) as caught:
        test_wires(bench).require()
    assert set(caught.value.parts) == set(names)
    assert names[0] not in str(caught.value), "one cause for all of them"


@pytest.mark.parametrize("ppm", [(0.0, 27.0), (-30.0, 30.0), (12.5, -41.0), (0.0, 0.0)])
def test_the_ratio_is_found_within_its_uncertainty(ppm: tuple[float, float]) -> None:
    with Bench.simulate(PICO, ppm=ppm) as bench:
        found = measure_ratio(bench)
        truth = (1 + ppm[1] * 1e-6) / (1 + ppm[0] * 1e-6)
        assert bench.true_ratio == pytest.approx(truth, abs=2e-10)
        assert abs(found.ratio - truth) < 4 * found.uncertainty + 2e-10
        assert found.uncertainty_ppm < 0.002


def test_the_uncertainty_of_the_ratio_is_as_large_as_its_errors() -> None:
    """With stamps in steps of 7 ticks, as on an RP2040, in many measurements: errors over uncertainty have
    variance 1. Between 0.75 and 1.25 for 400 of them: 3.5 standard deviations of a sample variance, √(2/399)."""
    draws = random.Random(5)
    ratio = 1 + 27e-6
    scores = []
    for _ in range(400):
        mine = [2_500_000 + 9_615_384 * n for n in range(40)]
        begin = draws.random() * 1e6
        theirs = [7 * round((begin + x * ratio + draws.uniform(-3.5, 3.5)) / 7) for x in mine]
        found = fit_ratio(mine, theirs, 125_000_000, 125_000_000, 7 / 12**0.5)
        scores.append((found.ratio - ratio) / found.uncertainty)
    mean_square = sum(score * score for score in scores) / len(scores)
    assert 0.75 < mean_square < 1.25


def shoot_once(bench: Bench, ratio: ClockRatio) -> BenchRun:
    """One shot of a drawn rig, its flash 500 ms after the beam's edge."""
    rig = example_rig()
    opening_s = rig.valves[0].opening_s
    return run_shots(
        bench, draw_model(rig, 3), ratio, opening_s=opening_s, repeats=1, delays_s=(0.5,)
    )


def test_clocks_taken_for_equal_would_show_at_once() -> None:
    """27 ppm of 500 ms are 13.5 µs: the suite must have corrected for the clocks to get its figure."""
    with Bench.simulate(PICO) as bench:
        alone = fit_ratio([0, 1000, 2000], [0, 1000, 2000], 125_000_000, 125_000_000, 1.0)
        run = shoot_once(bench, alone)
        (error,) = run.flash_error[0.5]
        assert error == pytest.approx(13.5e-6, abs=0.05e-6)


def test_boards_of_different_clocks_are_put_on_one() -> None:
    """A Pico 2 runs at 150 MHz, its double at 125 MHz."""
    with Bench.simulate(find_profile("pico2"), clock_hz=(150_000_000, 125_000_000)) as bench:
        ratio = measure_ratio(bench)
        assert ratio.ppm == pytest.approx(27.0, abs=0.01)
        run = shoot_once(bench, ratio)
        assert run.faults == []
        assert max(map(abs, run.flash_error[0.5])) < 1 / 150e6 + 1 / 125e6
        (shot,) = run.shots
        darks = [
            e.ticks / 150e6 for e in shot.outcome.edges if e.signal.name == "beam1" and e.level
        ]
        assert darks == pytest.approx(shot.pretence.counted_s, abs=30e-9)


def test_the_same_seed_is_the_same_bench() -> None:
    def shoot() -> list[tuple[str, int, int]]:
        rig = example_rig()
        with Bench.simulate(PICO, seed=3) as bench:
            ratio = measure_ratio(bench)
            run = run_shots(
                bench, draw_model(rig, 3), ratio, opening_s=rig.valves[0].opening_s, repeats=1,
                delays_s=(0.01,), seed=9,
            )  # fmt: skip
            return [(e.signal.name, e.level, e.ticks) for e in run.shots[0].seen]

    assert shoot() == shoot()


def test_a_board_that_restarts_lets_go_of_its_lines() -> None:
    with Bench.simulate(PICO) as bench:
        hold = Sequence(rows=(Row("release", 0, "flash1", 0.01, 0.9),))
        bench.double.release(bench.double.arm(hold))
        bench.controller.sleep(0.2)
        assert bench.controller.status().beams_dark == 1
        bench.double.transport.reset_board()
        bench.controller.sleep(0.001)
        assert bench.controller.status().beams_dark == 0


def test_joined_lines_are_on_while_any_of_them_is() -> None:
    """Diodes join them: focus from 10 to 60 ms and shutter from 40 to 90 ms make one pulse of 80 ms."""
    both = Sequence(
        rows=(Row("release", 0, "focus", 0.01, 0.05), Row("release", 0, "shutter", 0.04, 0.05))
    )
    with Bench.simulate(PICO, ppm=(0.0, 0.0)) as bench:
        _, seen = bench.shoot_watched(bench.controller, both, bench.double)
        assert [(edge.signal.name, edge.level) for edge in seen] == [("beam2", 1), ("beam2", 0)]
        assert seen[1].ticks - seen[0].ticks == 10_000_000  # 80 ms at 125 MHz


def test_two_valves_at_once_cannot_be_told_apart_and_are_refused() -> None:
    both = Sequence(
        rows=(Row("release", 0, "valve1", 0.01, 0.01), Row("release", 0, "valve2", 0.015, 0.01))
    )
    with pytest.raises(BenchError) as caught:
        pretend(draw_model(example_rig(), 1), both, BoardLimits(), seed=1)
    assert caught.value.parts == ("valve1", "valve2")
    with pytest.raises(WrongValue) as unknown:
        pretend(
            draw_model(example_rig(), 1),
            make_two_drops(0.013, 0.01),
            BoardLimits(),
            seed=1,
            fault="rain",
        )
    assert (unknown.value.of, unknown.value.found) == ("fault", "rain")


def test_the_double_is_a_board_that_can_be_installed() -> None:
    profile = find_double_profile()
    check_profile(profile)
    sources = choose_sources(profile)
    assert sources["boards/bench_double_pico.py"] == profile.path
    assert "ports/rp2/start.py" in sources


@pytest.mark.parametrize("board", ["pico", "pico_w", "pico2", "pico_generic", "esp32_generic"])
def test_the_double_fits_the_controllers_profile(board: str) -> None:
    pinned = list_wires(find_profile(board), find_double_profile())
    assert {one.wire.name for one in pinned} == {wire.name for wire in WIRES}


def test_a_controller_of_other_polarity_is_refused(tmp_path: Path) -> None:
    text = PICO.path.read_text().replace('9: (10, 1, "up")', '9: (10, 0, "up")')
    other = tmp_path / "other.py"
    other.write_text(text)
    with pytest.raises(BoardProfileError, match="flash1.*beam1"):
        list_wires(read_profile(other), find_double_profile())


def test_the_wiring_table_is_the_profiles() -> None:
    assert make_table("pico") in README.read_text(encoding="utf-8"), (
        "firmware/bench_double/README.md: put in what `python -m beamfall.board_tools.double pico` prints"
    )


def test_ports_exchanged_or_without_a_double_are_said() -> None:
    with pytest.raises(BenchError) as caught:
        Bench.connect("sim?seed=1", "sim?seed=2")
    assert caught.value.parts == ("double",)
