"""The kept corpus once more, under CPython and under MicroPython, and a short run of each fuzzer.

The long runs are commands, see fuzz.py.
"""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path
from types import ModuleType

import firmware_targets
import outside
import outside_files
import outside_pictures
import pytest
import targets
from mutate import mutate
from needs import need_micropython, need_module

HERE = Path(__file__).resolve().parent
TOP = HERE.parents[1]
RUNS = {"step": 6_000, "board": 1_500}
MUTATED = {
    "host": 10_000,
    "reader": 10_000,
    "talk": 2_000,
    "rig": 5_000,
    "sequence": 5_000,
    "recipe": 5_000,
    "exif": 5_000,
    "xmp": 5_000,
    "picture": 5_000,
}


def corpus(target: str) -> list[bytes]:
    return [path.read_bytes() for path in sorted((HERE / "corpus" / target).iterdir())]


@pytest.mark.parametrize("target", [*RUNS, *MUTATED])
def test_the_kept_inputs_break_nothing(target: str) -> None:
    inputs = corpus(target)
    assert len(inputs) >= (10 if target in (*RUNS, "host", "reader") else 3)
    for data in inputs:
        targets.TARGETS[target](data)


@pytest.mark.parametrize(
    ("target", "tell"),
    [("reader", firmware_targets.tell_frames), ("board", firmware_targets.run_board)],
)
def test_micropython_does_the_same_with_the_kept_inputs(target: str, tell) -> None:  # type: ignore[no-untyped-def]
    need_micropython()
    inputs = corpus(target)
    done = subprocess.run(
        [sys.executable, "-m", "micropython_unix", str(HERE / "replay.py"), target],
        input="".join(data.hex() + "\n" for data in inputs),
        capture_output=True,
        text=True,
        timeout=300,
        env=dict(os.environ, MICROPYPATH=f"{HERE}:{TOP / 'firmware'}:.frozen"),
    )
    told = done.stdout.splitlines()
    assert len(told) == len(inputs), done.stdout[-500:] + done.stderr[-500:]
    for data, line in zip(inputs, told, strict=True):
        assert line.strip() == tell(data).strip(), data.hex()


@pytest.mark.parametrize("target", RUNS)
@pytest.mark.full
def test_a_bounded_run_of_the_fuzzer_finds_nothing(target: str, tmp_path: Path) -> None:
    need_module("atheris", "pip install atheris, for CPython up to 3.13 on Linux, x86-64")
    _run_fuzzer(target, RUNS[target], tmp_path)


@pytest.mark.parametrize("target", MUTATED)
@pytest.mark.full
def test_a_bounded_run_of_mutations_finds_nothing(target: str, tmp_path: Path) -> None:
    _run_fuzzer(target, MUTATED[target], tmp_path)


def _run_fuzzer(target: str, runs: int, finds: Path) -> None:
    options = ["--runs", str(runs), "--seed", "7", "--finds", str(finds)]
    done = subprocess.run(
        [sys.executable, str(HERE / "fuzz.py"), target, *options],
        capture_output=True,
        text=True,
        timeout=300,
    )  # fmt: skip
    assert done.returncode == 0, done.stdout[-1000:] + done.stderr[-3000:]
    assert f"{target}: {runs} inputs" in done.stdout


def test_the_fuzzer_can_fail(monkeypatch: pytest.MonkeyPatch) -> None:
    """Each target notices a fault of its kind."""
    from beamfall_board.limits import Limits

    monkeypatch.setattr("beamfall_board.framing.binascii.crc32", lambda data: 0)
    with pytest.raises(AssertionError):
        targets.fuzz_reader(
            b"\x00\x05\x01\x02\x03\x04\x09garbage!\x00" + firmware_targets.make_frame(2, 7, 1, b"")
        )
    monkeypatch.undo()
    monkeypatch.setattr(Limits, "longest", lambda self, output: 1 << 30)
    monkeypatch.setattr(Limits, "_check_duty", lambda self, table: 0)
    with pytest.raises(firmware_targets.Broken):
        # One row of valve 1, 251 ms wide; its release; time.
        targets.fuzz_board(bytes([5, 0, 0, 0, 250, 1, 0, 0, 0, 0, 1, 6, 3, 255, 0]))


def test_mutations_find_what_chance_alone_would_not(tmp_path: Path) -> None:
    """A fault behind three right bytes: only an input that was kept for its first step can reach it."""

    def target(data: bytes) -> None:
        if data[:1] == b"a":  # noqa: SIM102
            if data[1:2] == b"b":  # noqa: SIM102
                if data[2:3] == b"c":
                    raise ValueError

    last = list(mutate(target, [b"..."], watched=[str(HERE)], longest=8, seed=3, blocks=range(20)))[
        -1
    ]
    assert [data[:3] for data in last.finds.values()] == [b"abc"]
    assert last.done == 20_000


@pytest.mark.parametrize(
    ("target", "module", "reached"),
    [
        ("talk", outside, "make_record"), ("rig", outside_files, "build_warm_up"),
        ("recipe", outside_files, "write_texts"), ("exif", outside_pictures, "show_text"),
        ("picture", outside_pictures, "show_text"),
    ],
)  # fmt: skip
def test_the_kept_inputs_get_far(
    target: str, module: ModuleType, reached: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A fuzzer whose every input is refused at once would find nothing."""
    calls: list[int] = []
    plain = getattr(module, reached)

    def count(*arguments: object, **more: object) -> object:
        calls.append(1)
        return plain(*arguments, **more)

    monkeypatch.setattr(module, reached, count)
    inputs = corpus(target)
    for data in inputs:
        outside.TARGETS[target](data)
    assert calls


def test_the_fuzzers_own_frames_are_right() -> None:
    """They are made without the code under test, which is slow when it is watched."""
    from beamfall.wire import Frame, encode_frame

    for size in (0, 1, 230, 241, 242, 243, 300, 508, 520):
        for fill in (b"\x00", b"\x01", b"\x01" * 253 + b"\x00"):
            payload = (fill * 600)[:size]
            if size <= 240:
                frame = encode_frame(Frame(1, 7, 0x1234, 0x01020304, payload), targets.DEFINITION)
                assert firmware_targets.make_frame(7, 0x1234, 0x01020304, payload) == frame
            else:
                assert 0 not in firmware_targets.make_frame(7, 0x1234, 1, payload)[:-1]
