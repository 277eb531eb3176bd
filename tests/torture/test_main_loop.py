"""The main loop of the firmware: what it feeds the watchdog, and what exceptions in it and around it do."""

from __future__ import annotations

from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest
from main_loop import CORE, CountingPort, Stopped, ready_bench, run_main_loop

from beamfall_board import wire_definition as wire


def test_only_the_main_loop_feeds_the_watchdog_once_a_round() -> None:
    bench, digest = ready_bench()
    bench.release(digest)
    assert run_main_loop(bench, 200).fed == 200
    assert all(off != -1 for _, off in bench.rig.pulses(8)), (
        "a stopped main loop leaves its outputs off"
    )
    source = Path(CORE)
    feeding = [
        path.name
        for path in source.glob("*.py")
        if "feed_watchdog" in path.read_text(encoding="utf-8")
    ]
    assert feeding == ["board.py"]


def test_a_step_that_hangs_is_not_fed() -> None:
    bench, digest = ready_bench()
    bench.release(digest)
    calls = 0

    def hang() -> None:
        nonlocal calls
        calls += 1
        if calls == 5:
            raise Stopped  # stands for never coming back: nothing of the loop runs after it

    bench.board.controller.step = hang
    port = CountingPort(bench.transport._port, 100)
    bench.board.port = port
    with pytest.raises(Stopped):
        bench.board.run()
    assert port.fed == 4


@pytest.mark.parametrize("broken", ["wake_ms", "idle"])
def test_an_exception_between_two_steps_does_not_end_the_main_loop(broken: str) -> None:
    bench, digest = ready_bench()
    bench.release(digest)
    left = [1]

    def bomb(*arguments: Any) -> Any:
        if left[0]:
            left[0] -= 1
            raise OSError("between two steps")
        return original(*arguments)

    owner = bench.board.controller if broken == "wake_ms" else bench.transport._port
    original = getattr(owner, broken)
    setattr(owner, broken, bomb)
    port = run_main_loop(bench, 50)
    assert port.fed >= 49
    assert (bench.board.controller.state, bench.board.controller.cause) == (
        wire.STATE_FAULT,
        wire.CAUSE_INTERNAL,
    )


@pytest.mark.parametrize("also", ["the store", "the words", "fail"])
def test_the_fault_comes_before_its_words_and_neither_ends_the_main_loop(also: str) -> None:
    """Out of memory, and again on the way out: for example, a slice of a long text allocates."""
    bench, digest = ready_bench()
    bench.release(digest)
    bench.transport.sleep(0.01)
    assert bench.rig.pulses(8)[0][1] == -1, "the shutter is open"
    board = bench.board
    controller = board.controller
    told: list[int] = []

    def out_of_memory(*_: object) -> Any:
        told.append(controller.state)
        raise MemoryError("allocation failed")

    controller.step = out_of_memory
    owner, name = {
        "the store": (board.store, "add"),
        "the words": (board, "_say"),
        "fail": (controller, "fail"),
    }[also]
    setattr(owner, name, out_of_memory)
    told.clear()
    run_main_loop(bench, 20)
    assert all(off != -1 for signal in (1, 8) for _, off in bench.rig.pulses(signal))
    if also == "the words":
        assert wire.STATE_FAULT in told, "the words were tried once the fault was there"
    assert (controller.state, controller.cause) == (wire.STATE_FAULT, wire.CAUSE_INTERNAL)
    assert controller.activity == wire.ACTIVITY_NONE
    del controller.__dict__["step"], owner.__dict__[name]
    board.port = bench.transport._port
    assert bench.ask("abort").name == "done"
    bench.rig.levels.clear()
    bench.rig._events.clear()
    bench.run(1.0)
    assert bench.release(digest, 2).name == "done"


def test_a_board_that_cannot_count_a_valves_open_time_restarts() -> None:
    """Counting needs memory: with none left, the coil could get hot unnoticed if the board just continued."""
    bench, digest = ready_bench()
    board = bench.board
    kept: list[int] = []
    board.controller.budget._open_time = SimpleNamespace(before_ms=0, keep=kept.append)
    bench.release(digest)
    bench.transport.sleep(0.01)
    assert bench.rig.pulses(1)[0][1] == -1, "the valve is open"

    def out_of_memory(*_: object) -> None:
        raise MemoryError("allocation failed")

    board.controller.budget.ended = out_of_memory
    board.link.poll = out_of_memory
    port = CountingPort(bench.transport._port, 20)
    board.port = port
    with pytest.raises(MemoryError):
        board.run()
    assert port.fed == 0, "the watchdog restarts the board"
    assert all(off != -1 for signal in (1, 8) for _, off in bench.rig.pulses(signal))
    assert kept[-1] >= 40, "the next start counts both openings of 20 ms"
