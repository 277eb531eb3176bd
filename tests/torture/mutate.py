"""Mutates inputs, guided by the lines of code that they reach, at nearly the speed of the code under test.

For targets of much Python code: to watch each branch of it, as atheris does, makes them ten times slower. Here only
some inputs are watched, and kept where they reach a line for the first time; the others run as they are. A run is
made of blocks, each with its own seed, so that it can be resumed at any of them. An input that breaks something is
kept under the name of what it broke, and the run goes on.
"""

from __future__ import annotations

import random
import signal
import sys
import time
import traceback
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, field
from pathlib import Path
from types import CodeType, FrameType
from typing import Any

Target = Callable[[bytes], None]
BLOCK = 1000  # inputs
_WATCHED = 2, 50  # one input in 2 in the first blocks, one in 50 later, when little is new
_FIRST = 10  # blocks
_HANG_S = 20.0  # of this process's own processor time, for one input
_PARENTS_MOST = 4000


class Hang(BaseException):
    """One input took too long. It is no Exception, because code under test may catch those."""


@dataclass
class Run:
    """What a run has seen so far. `finds` are names and inputs."""

    done: int = 0
    began: float = field(default_factory=time.monotonic)
    began_cpu: float = field(default_factory=time.process_time)
    first_mib: float = 0.0
    finds: dict[str, bytes] = field(default_factory=dict)
    parents: list[bytes] = field(default_factory=list)

    @property
    def rate(self) -> float:
        """Inputs a second of processor time, which other programs do not change."""
        return self.done / max(1e-9, time.process_time() - self.began_cpu)


def read_status_mib(name: str) -> float:
    """A line of this process's memory: VmRSS is now, VmHWM the most so far."""
    status = Path("/proc/self/status").read_text(encoding="ascii")
    return int(status.partition(f"{name}:")[2].split()[0]) / 1024


def mutate(
    target: Target,
    corpus: Iterable[bytes],
    *,
    watched: Iterable[str],
    longest: int,
    seed: int,
    blocks: Iterable[int],
    keep: Callable[[bytes], None] | None = None,
) -> Iterator[Run]:
    """Run `target` over blocks of mutated inputs, at most `longest` bytes each; yield what was seen after each block.

    `watched` are the folders whose lines guide the choice of parents. `keep` gets each input that reached something
    new. An exception of the target is a find; the same exception at the same line is found once.
    """
    run = Run(parents=[*corpus] or [b""])
    tracer = _Tracer(tuple(watched))
    signal.signal(signal.SIGVTALRM, _give_up)
    for data in run.parents:
        _try(run, target, data, tracer)
    for block in blocks:
        draws = random.Random(f"{seed} {block}")
        every = _WATCHED[0] if run.done < _FIRST * BLOCK else _WATCHED[1]
        for number in range(BLOCK):
            data = _mutate_one(draws, run.parents, longest)
            if number % every:
                _try(run, target, data, None)
            elif _try(run, target, data, tracer) and len(run.parents) < _PARENTS_MOST:
                run.parents.append(data)
                if keep is not None:
                    keep(data)
        run.done += BLOCK
        run.first_mib = run.first_mib or read_status_mib("VmRSS")
        yield run


def _mutate_one(draws: random.Random, parents: list[bytes], longest: int) -> bytes:
    data = bytearray(draws.choice(parents))
    for _ in range(draws.randint(1, 5)):
        at = draws.randrange(len(data) + 1)
        match draws.randrange(7):
            case 0 | 1 | 2 if at < len(data):
                data[at] = draws.randrange(256)
            case 3:
                data[at:at] = draws.randbytes(draws.randint(1, 8))
            case 4:
                del data[at : at + draws.randint(1, 8)]
            case 5:
                other = draws.choice(parents)
                start = draws.randrange(len(other) + 1)
                data[at:] = other[start:]
            case _:
                data += draws.randbytes(draws.randint(1, 24))
    return bytes(data[:longest])


def _try(run: Run, target: Target, data: bytes, tracer: _Tracer | None) -> bool:
    """Run one input; returns whether it reached something new."""
    known = 0 if tracer is None else tracer.reached
    signal.setitimer(signal.ITIMER_VIRTUAL, _HANG_S)
    try:
        if tracer is None:
            target(data)
        else:
            tracer.watch(target, data)
    except (Exception, Hang) as error:
        run.finds.setdefault(_name(error), data)
    finally:
        signal.setitimer(signal.ITIMER_VIRTUAL, 0.0)
    return tracer is not None and tracer.reached > known


def _give_up(number: int, frame: FrameType | None) -> None:
    raise Hang(f"over {_HANG_S:g} s of processor time")


def _name(error: BaseException) -> str:
    """The name of an exception: its kind and the last line of code."""
    last = traceback.extract_tb(error.__traceback__)[-1]
    return f"{type(error).__name__} at {Path(last.filename).name}, line {last.lineno}"


class _Tracer:
    """Counts the lines of the watched folders that run for the first time.

    A function whose lines have all run costs next to nothing.
    """

    def __init__(self, watched: tuple[str, ...]) -> None:
        self._watched = watched
        self._missing: dict[CodeType, set[int]] = {}
        self.reached = 0

    def watch(self, target: Target, data: bytes) -> None:
        sys.settrace(self._enter)
        try:
            target(data)
        finally:
            sys.settrace(None)

    def _enter(self, frame: FrameType, event: str, argument: Any) -> Any:
        code = frame.f_code
        missing = self._missing.get(code)
        if missing is None:
            lines = code.co_lines() if code.co_filename.startswith(self._watched) else ()
            missing = self._missing[code] = {line for _, _, line in lines if line is not None}
            missing.discard(code.co_firstlineno)
        if not missing:
            return None

        def step(frame: FrameType, event: str, argument: Any) -> Any:
            if event == "line" and frame.f_lineno in missing:
                missing.discard(frame.f_lineno)
                self.reached += 1
            return step

        return step
