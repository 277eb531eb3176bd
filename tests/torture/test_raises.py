"""What happens when the firmware raises inside a shot: at every line that a shot runs through, and in the way out.

A trace function raises at the first, and at a later, time that a line is reached while a shot is under way. Judged at
the pins: the outputs are off at once and stay off; the board says why, and after an abort it shoots again.
"""

from __future__ import annotations

import linecache
import sys
from collections.abc import Callable
from pathlib import Path
from types import FrameType
from typing import Any

import pytest
from main_loop import CORE, ready_bench
from scripted import Bench

from beamfall_board import wire_definition as wire

# Not part of a step's work: what runs after an exception has been caught, and the sleep (see test_main_loop.py).
WAY_OUT = {"_trouble", "report_exception", "give_up", "fail", "wake_ms", "settling"}


class Injected(Exception):
    pass


def shoot(bench: Bench, digest: bytes, release: int) -> None:
    """From the release to the end of the shot, with nothing of these tests in the traced code."""
    bench.number += 1
    bench.send(
        bench.frame(
            "release",
            bench.number,
            boot_id=bench.welcome["boot_id"],
            release=release,
            digest=digest,
        )
    )
    bench.transport.sleep(0.6)


def in_step(frame: FrameType | None) -> bool:
    """Whether a frame is under `Board.step` and not in what runs after an exception."""
    while frame is not None:
        if frame.f_code.co_filename.startswith(CORE):
            if frame.f_code.co_name in WAY_OUT:
                return False
            if frame.f_code.co_name == "step" and frame.f_code.co_filename.endswith("board.py"):
                return True
        frame = frame.f_back
    return False


def trace_lines(act: Callable[[str, int, FrameType], None]) -> Any:
    def trace(frame: FrameType, event: str, argument: object) -> Any:
        if not frame.f_code.co_filename.startswith(CORE):
            return None
        if event == "line":
            act(frame.f_code.co_filename, frame.f_lineno, frame)
        return trace

    return trace


def run_traced(bench: Bench, digest: bytes, act: Callable[[str, int, FrameType], None]) -> None:
    before = sys.gettrace()
    sys.settrace(trace_lines(act))
    try:
        shoot(bench, digest, 1)
    finally:
        sys.settrace(before)


def find_lines() -> dict[tuple[str, int], int]:
    """How often each line is reached in a shot."""
    seen: dict[tuple[str, int], int] = {}

    def act(name: str, line: int, frame: FrameType) -> None:
        if in_step(frame) and linecache.getline(name, line).strip() != "try:":
            seen[name, line] = seen.get((name, line), 0) + 1

    bench, digest = ready_bench()
    run_traced(bench, digest, act)
    assert [done["state"].name for done in listen(bench, "shot_done")] == ["fired"]
    return seen


def listen(bench: Bench, name: str) -> list[Any]:
    bench.run(0.8)
    return bench.named(name)


@pytest.mark.skipif(sys.gettrace() is not None, reason="a debugger or a coverage tool traces")
@pytest.mark.full
def test_an_exception_at_any_line_of_a_shot_leaves_everything_off_and_the_board_at_work() -> None:
    lines = find_lines()
    assert len(lines) > 250, "the shot runs through much less than it did"
    tried = 0
    for (name, line), times in sorted(lines.items()):
        for which in sorted({1, (times + 1) // 2}):
            left = which
            fired: list[str] = []

            def act(
                at: str,
                number: int,
                frame: FrameType,
                place: tuple[str, int] = (name, line),
                fired: list[str] = fired,
            ) -> None:
                nonlocal left
                if (at, number) == place and not fired and in_step(frame):
                    left -= 1
                    if left == 0:
                        fired.append(frame.f_code.co_name)
                        raise Injected(f"{frame.f_code.co_name} line {number}")

            bench, digest = ready_bench()
            run_traced(bench, digest, act)
            assert fired
            tried += 1
            judge(bench, digest, f"{Path(name).name}:{line} in {fired[0]}, time {which} of {times}")
    print(f"{tried} exceptions at {len(lines)} lines")


def judge(bench: Bench, digest: bytes, where: str) -> None:
    controller = bench.board.controller
    assert (controller.state, controller.cause) == (wire.STATE_FAULT, wire.CAUSE_INTERNAL), where
    assert controller.activity == wire.ACTIVITY_NONE, where
    moved = len(bench.rig.outputs)
    on: dict[int, int] = {}
    for _, signal, level in bench.rig.outputs:
        on[signal] = level
    assert not any(on.values()), where
    troubles = listen(bench, "trouble")
    assert "Injected" in troubles[0]["text"], where
    assert len(bench.rig.outputs) == moved, f"{where}: something moved after the fault"
    answer = bench.answers.get(bench.number)
    if answer is not None and answer.name == "refused":
        assert moved == 0, f"{where}: refused, and yet it ran"
        assert answer["reason"].name == "in_fault", where
    if moved:
        done = bench.named("shot_done")
        assert len(done) <= 1, where
    assert bench.ask("abort").name == "done", where
    bench.rig.levels.clear()
    bench.rig._events.clear()
    bench.run(1.0)
    answer = bench.release(digest, 5)
    assert answer.name == "done", (where, answer)
    bench.run(0.8)
    assert len(bench.rig.outputs) > moved, where


# What `fail` calls.
@pytest.mark.parametrize("broken", ["stop", "now_ticks", "next_edge", "millis"])
def test_where_even_the_way_out_raises_the_outputs_are_off(broken: str) -> None:
    bench, digest = ready_bench()
    bench.release(digest)
    bench.transport.sleep(0.01)
    assert bench.rig.pulses(8)[0][1] == -1, "the shutter is open"
    port = bench.transport._port

    def bomb(*_: object) -> Any:
        raise OSError("the hardware does not answer")

    setattr(port, broken, bomb)
    port.poll = bomb  # the first exception; `broken` is the second
    try:
        bench.transport.sleep(0.0)
    except OSError:
        # Then the main loop ends, its `finally` puts the outputs off once more, and the watchdog does the rest.
        assert broken == "millis"
    assert all(off != -1 for signal in (1, 8) for _, off in bench.rig.pulses(signal))
    del port.__dict__[broken], port.__dict__["poll"]
    if broken != "millis":
        bench.transport.sleep(0.5)
        assert bench.ask("status")["state"].name == "fault"
        # What was under way when the way out broke counts as done now: the flash and the valve rest from here.
        bench.ask("abort")
        assert bench.release(digest, 2).name == "done"


def test_the_same_exception_in_every_step_does_not_crowd_out_the_shots() -> None:
    bench, digest = ready_bench()
    bench.release(digest)
    bench.run(0.6)
    before = bench.ask("status")["reports_forgotten"]

    def bomb() -> Any:
        raise OSError("the button's pin is broken")

    bench.transport._port.button_down, good = bomb, bench.transport._port.button_down
    for _ in range(3000):
        bench.board.step()
    bench.transport._port.button_down = good
    assert bench.ask("status")["reports_forgotten"] == before
    bench.run(0.3)
    texts = [trouble["text"] for trouble in bench.named("trouble")]
    assert len([text for text in texts if "button's pin" in text]) == 1


def test_whatever_the_file_system_does_at_the_start_the_board_starts() -> None:
    from beamfall_board.board import Board
    from boards import simulated as profile

    bench = Bench()
    folder = Path(bench.transport._folder.name)
    # Reading a folder is an OSError; a size beyond memory would be a MemoryError.
    (folder / "slot0.bin").mkdir(parents=True)
    board = Board(bench.transport._port, profile, folder=str(folder))
    assert board.controller.table.state == wire.TABLE_EMPTY

    class Broken:
        def chosen(self) -> int:
            raise MemoryError

    board.slots = Broken()
    board._load_chosen()
    assert board.store.count == 1


@pytest.mark.parametrize(("where", "answer"), [("blocked_beam", "refused"), ("set_state", "done")])
def test_a_request_whose_handler_raises_is_answered_by_what_it_had_begun(
    where: str, answer: str
) -> None:
    """The old fault: its repeats got the answer to the request before it, and the host got none."""
    bench, digest = ready_bench()
    controller = bench.board.controller

    def bomb(*_: object) -> Any:
        delattr(controller, where)
        raise OSError("in the middle of a release")

    setattr(controller, where, bomb)
    fields = {"boot_id": bench.welcome["boot_id"], "release": 1, "digest": digest}
    bench.number += 1
    bench.send(bench.frame("release", bench.number, **fields))
    bench.run(0.002)  # it goes out with the step after
    told = bench.answers[bench.number]
    assert told.name == answer
    if answer == "refused":
        assert told["reason"].name == "in_fault"
        assert (controller.last_release, bench.rig.outputs) == (0, [])
    else:
        assert controller.last_release == 1
    bench.answers.clear()
    bench.send(bench.frame("release", bench.number, **fields))
    bench.run(0.1)
    assert bench.answers[bench.number] == told, "a repeat gets the same answer"
    assert all(off != -1 for signal in (1, 8) for _, off in bench.rig.pulses(signal))
