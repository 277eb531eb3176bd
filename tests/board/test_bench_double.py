"""Hardware in the loop: a controller against its bench double. `pytest tests/board --port P --double Q` runs it on two
real boards wired together (firmware/bench_double/README.md) and writes a report; without, on two simulated boards
connected pin to pin, which proves the method and the plumbing and no chip's timing."""

from __future__ import annotations

import json
import math
from pathlib import Path

import pytest

from beamfall.board import Board
from beamfall.board_tools.double import Bench, ClockRatio, SelfTest, measure_ratio
from beamfall.board_tools.double.drops import FAULTS
from beamfall.board_tools.double.report import write_report
from beamfall.board_tools.double.run import run_shots
from beamfall.setup.rig import example_rig
from beamfall.setup.sequence import Row, Sequence
from beamfall.sim.build import draw_model

pytestmark = pytest.mark.usefixtures("wires")

RIG = example_rig()
MODEL = draw_model(RIG, 3)
OPENING_S = RIG.valves[0].opening_s
WIRES_S = 100e-9  # 470 Ω and some tens of pF on either way, a diode: an estimate, not measured
CRYSTALS_PPM = 100.0  # two crystals of 30 ppm, and as much again for temperature and age; common practice, no source


@pytest.fixture(scope="module")
def ratio(bench: Bench, wires: SelfTest) -> ClockRatio:
    return measure_ratio(bench)


def grain_s(bench: Bench) -> float:
    """How far one time between two stamps of the double may be off, from its stamps and the boards' own steps alone."""
    theirs, mine = bench.double.info, bench.controller.info
    if mine.timing.name == "simulated":
        return 1 / theirs.clock_hz + 1 / mine.clock_hz
    # A stamp is good to half a round, after another event to a whole one (firmware/ports/rp2/README.md, Cycles).
    return WIRES_S + 1.5 * theirs.stamp_ticks / theirs.clock_hz + 1 / mine.clock_hz


def worst_late_s(bench: Bench, outcomes) -> float:
    return (
        max((o.done.worst_late_ticks for o in outcomes), default=0) / bench.controller.info.clock_hz
    )


def test_every_wire_is_where_it_should_be(bench: Bench, wires: SelfTest) -> None:
    assert wires.wrong == ()
    assert len(wires.findings) == len(bench.list_wires()) >= 8


def test_the_clocks_ratio_is_known_far_better_than_the_crystals(
    bench: Bench, ratio: ClockRatio
) -> None:
    again = measure_ratio(bench)
    assert abs(ratio.ppm) < CRYSTALS_PPM
    # 0.1 ppm is 50 ns in half a second. Crystals drift by less than that between two measurements in a row.
    assert ratio.uncertainty_ppm < 0.1
    if bench.controller.info.timing.name != "interrupt":
        assert abs(ratio.ppm - again.ppm) < 0.1 + 4 * math.hypot(
            ratio.uncertainty_ppm, again.uncertainty_ppm
        )
    if bench.true_ratio is not None:
        assert abs(ratio.ratio - bench.true_ratio) < 4 * ratio.uncertainty
        assert ratio.ppm == pytest.approx(27.0, abs=0.01)


def test_the_flash_follows_the_beam_as_the_double_sees_it(
    bench: Bench, wires: SelfTest, ratio: ClockRatio, report_folder: Path
) -> None:
    run = run_shots(bench, MODEL, ratio, opening_s=OPENING_S, repeats=6, seed=11)
    text, picture = write_report(report_folder, bench, wires, run, measure_ratio(bench))
    print(f"report: {text}, {picture}")
    assert run.faults == []
    late = worst_late_s(bench, [shot.outcome for shot in run.shots])
    hard = bench.controller.info.timing.name != "interrupt"
    for delay, errors in run.flash_error.items():
        assert len(errors) == (12 if delay < 0.01 else 6)
        slack = grain_s(bench) + 4 * run.uncertainty_s(delay) + (0 if hard else late)
        assert max(map(abs, errors)) <= slack, f"{delay} s"
    assert max(map(abs, run.valve_error)) <= grain_s(bench) + (0 if hard else late)
    content = json.loads(text.read_text())
    assert content["errors"]["flash after beam, 500 ms"]["count"] == 6
    assert set(content["wires"].values()) == {"ok"}
    assert picture.read_bytes().startswith(b"\x89PNG")


def test_drops_scatter_and_come_when_physics_says(bench: Bench, ratio: ClockRatio) -> None:
    run = run_shots(bench, MODEL, ratio, opening_s=OPENING_S, repeats=4, delays_s=(0.01,), seed=70)
    hz = bench.controller.info.clock_hz
    first = []
    slack = grain_s(bench) + bench.controller.info.stamp_ticks / hz
    for shot in run.shots:
        darks = [e.ticks / hz for e in shot.outcome.edges if e.signal.name == "beam1" and e.level]
        assert len(darks) == 2
        if bench.controller.info.timing.name != "interrupt":
            assert darks == pytest.approx(list(shot.pretence.counted_s), abs=2 * slack)
        first.append(darks[0])
    assert max(first) - min(first) > 20 * slack  # the scatter of the latency is no grain of a clock


@pytest.mark.parametrize("fault", FAULTS)
def test_faults_of_drops_and_beam_are_recognised(
    bench: Bench, ratio: ClockRatio, fault: str
) -> None:
    run = run_shots(
        bench,
        MODEL,
        ratio,
        opening_s=OPENING_S,
        faults=(fault,),
        repeats=1,
        delays_s=(0.01,),
        seed=40,
    )
    assert run.faults == []
    (shot,) = run.shots
    done = shot.outcome.done
    # What the fault is, in the words of protocol/messages.toml.
    wanted = {
        "none": ("fired", "none", 2),
        "no_drop": ("missed", "no_edge", 0),
        "merged": ("missed", "few_edges", 1),
        "satellites": ("fired", "none", 2),
        "chatter": ("missed", "chatter", 1),
    }
    assert (done.state.name, done.cause.name, done.beam1_counted) == wanted[fault]
    if fault == "satellites":
        assert done.beam_edges_ignored == 2


def test_light_is_seen_after_the_flash(bench: Bench, ratio: ClockRatio) -> None:
    run = run_shots(bench, MODEL, ratio, opening_s=OPENING_S, repeats=1, delays_s=(0.085,), seed=50)
    edges = run.shots[0].outcome.edges
    hz = bench.controller.info.clock_hz
    (flash,) = [e.ticks for e in edges if e.signal.name == "flash1" and e.level]
    (light,) = [e.ticks for e in edges if e.signal.name == "light1" and e.level]
    assert (light - flash) / hz == pytest.approx(50e-6, abs=40e-6)


def test_the_button_releases_once(bench: Bench) -> None:
    table = Sequence(rows=(Row("release", 0, "shutter", 0.05, 0.1),))
    bench.controller.take_outcomes()
    bench.controller.upload(table)
    bench.double.drip(1, 0.1)  # the double's valve 1 is the controller's button
    bench.controller.sleep(0.5)
    pressed = bench.controller.take_outcomes()
    bench.controller.settle()
    assert [(o.done.activity.name, o.done.state.name) for o in pressed] == [("shot", "fired")]


def test_an_abort_is_seen_at_the_pins(bench: Bench) -> None:
    """The shutter's line falls when the host says stop, not when its row would have ended."""
    long_s = min(7.0, 0.9e-3 * bench.controller.info.camera_max_ms)
    sequence = Sequence(rows=(Row("release", 0, "shutter", 0.01, long_s),))
    on, off = _watch_abort(bench.controller, bench.double, sequence)
    held_s = (off - on) / bench.double.info.clock_hz
    assert 0.05 < held_s < long_s - 0.5


def _watch_abort(controller: Board, double: Board, sequence: Sequence) -> tuple[int, int]:
    from beamfall.board_tools.double.bench import wait_for_watch

    ticket = controller.arm(sequence)
    double.watch(True)
    controller.release(ticket)
    controller.sleep(0.1)
    controller.abort()
    controller.wait_for(ticket)
    controller.sleep(0.05)  # the fall is on its way when the host already knows
    double.watch(False)
    edges = [edge for edge in wait_for_watch(double) if edge.signal.name == "beam2"]
    assert [edge.level for edge in edges] == [1, 0]
    return edges[0].ticks, edges[1].ticks
