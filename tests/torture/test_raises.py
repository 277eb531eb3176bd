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
from scripted import BEAM1, MS, Bench

from beamfall_board import wire_definition as wire

CORE = str(Path(__file__).resolve().parents[2] / "firmware" / "beamfall_board")
ROWS = [
    (0, 0, 8, 1 * MS, 400 * MS),
    (0, 0, 1, 2 * MS, 20 * MS),
    (0, 0, 1, 60 * MS, 20 * MS),
    (1, 2, 4, 30 * MS, 1 * MS),
]
WAITING = {"window_ticks": 300 * MS, "await1": 2, "dwell_ticks": MS // 10, "blanking_ticks": 5 * MS}
# Not part of a step's work: what runs after an exception has been caught, and the sleep (tested by itself below).
WAY_OUT = {"_trouble", "report_exception", "give_up", "fail", "wake_ms", "settling"}


class Injected(Exception):
    pass


def ready_bench() -> tuple[Bench, bytes]:
    bench = Bench()
    answer, digest = bench.upload(ROWS, **WAITING)
    assert answer.name == "done", answer
    for start in (50, 100, 101):
        bench.rig.at(bench.now + start * MS + 7, BEAM1, 1)
        bench.rig.at(bench.now + (start + 1) * MS // 1 - MS // 2, BEAM1, 0)
    return bench, digest


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


class Stopped(BaseException):
    """An exception from outside, as when a person at the console presses Ctrl-C."""


class CountingPort:
    """The bench's port, with a record of its main loop's calls."""

    def __init__(self, port: Any, rounds: int) -> None:
        self._port = port
        self.rounds = rounds
        self.fed = 0
        self.order: list[str] = []

    def __getattr__(self, name: str) -> Any:
        return getattr(self._port, name)

    def __setattr__(self, name: str, value: Any) -> None:
        if name in ("_port", "rounds", "fed", "order"):
            object.__setattr__(self, name, value)
        else:
            setattr(self._port, name, value)

    def feed_watchdog(self) -> None:
        self.fed += 1

    def idle(self, ms: int) -> None:
        self.rounds -= 1
        if self.rounds <= 0:
            raise Stopped
        self._port.idle(min(ms, 1))


def run_main_loop(bench: Bench, rounds: int) -> CountingPort:
    bench.transport._channel.granted = bench.now + 10**12
    port = CountingPort(bench.transport._port, rounds)
    bench.board.port = port
    with pytest.raises(Stopped):
        bench.board.run()
    return port


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
