"""Fuzzing of both decoders, a whole board, the whole host, and files from elsewhere.

    python tests/torture/fuzz.py host   --runs 10000000      the host's decoder and link
    python tests/torture/fuzz.py reader --runs 10000000      the firmware's decoder, held against the host's
    python tests/torture/fuzz.py step   --runs 10000000      the firmware's whole step, fed with bytes
    python tests/torture/fuzz.py board  --runs 1000000       whole shots on a new board each, judged at its pins
    python tests/torture/fuzz.py talk   --runs 1000000       the whole host, at a board that says anything
    python tests/torture/fuzz.py rig, sequence, recipe, exif, xmp, picture      files of these kinds

`step` and `board` are guided by every branch that an input takes (atheris; Linux; `pip install 'beamfall[test]'`) and
end at the first find. The others are guided by `mutate.py` and go on after a find; `--seed S --first N` resumes a run
of theirs at input N. Ends with one line: inputs, inputs a second, memory at the start and at the end. An input that
breaks something is written to the folder of --finds and the exit status is not 0. With --keep DIR the inputs that
reached something new are kept there; `--minimise FROM` puts the smallest set of them that reaches the same into the
corpus.
"""

from __future__ import annotations

import argparse
import hashlib
import math
import os
import random
import resource
import signal
import sys
import tempfile
import time
from pathlib import Path

HERE = Path(__file__).resolve().parent
TOP = HERE.parents[1]
CORPUS = HERE / "corpus"
LONGEST = {"step": 64, "board": 200}  # bytes of one input
MUTATED = {  # the same of the others, and the parts of Beamfall that guide the mutations
    "host": (48, ("wire", "link")), "reader": (48, ("wire", "../../firmware/beamfall_board")),
    "talk": (300, ("wire", "link", "board", "board_session", "events")),
    "rig": (40, ("setup",)), "sequence": (40, ("setup",)), "recipe": (40, ("recipes", "setup")),
    "exif": (60, ("photos",)), "xmp": (60, ("photos/xmp.py",)), "picture": (60, ("photos",)),
}  # fmt: skip
_GUIDED = ("beamfall.wire", "beamfall.link", "beamfall_board", "ports")


def _peak_mb() -> float:
    """For this process alone; getrusage also counts what its parent had used when it started it."""
    from mutate import read_status_mib

    return read_status_mib("VmHWM")


def _find_modules() -> None:
    for folder in (HERE, HERE.parent / "support", TOP / "firmware", TOP / "host"):
        sys.path.insert(0, str(folder))


def main() -> int:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("target", choices=(*LONGEST, *MUTATED))
    parser.add_argument("--runs", type=int, default=100_000)
    parser.add_argument(
        "--first", type=int, default=0, help="resume at this input (not for step and board)"
    )
    parser.add_argument("--minutes", type=float, default=math.inf, help="end after this time")
    parser.add_argument("--seed", type=int, default=0, help="0: another one every time")
    parser.add_argument("--keep", type=Path, help="folder for inputs that reach something new")
    parser.add_argument(
        "--minimise", type=Path, help="put the smallest equivalent of that folder into the corpus"
    )
    parser.add_argument(
        "--finds",
        type=Path,
        default=Path(tempfile.gettempdir()),
        help="folder for inputs that break",
    )
    options = parser.parse_args()
    if options.minimise is not None:
        return _minimise(options.target, options.minimise)

    _find_modules()
    options.finds.mkdir(parents=True, exist_ok=True)
    CORPUS.joinpath(options.target).mkdir(parents=True, exist_ok=True)
    if options.target in MUTATED:
        return _mutate(options)

    import atheris

    with atheris.instrument_imports(include=list(_GUIDED)):
        import targets
    target = targets.TARGETS[options.target]
    began = time.monotonic()
    count = 0
    early_mb = 0.0
    tenth = max(1, options.runs // 10)

    def one(data: bytes) -> None:
        nonlocal count, early_mb
        count += 1
        if count == tenth:
            early_mb = _peak_mb()
        try:
            target(data)
        except Exception:
            if isinstance(target, targets.StepTarget):
                past = options.finds / "step-history.txt"
                past.write_text("\n".join(old.hex() for old in target.history), encoding="utf-8")
                print(f"the inputs before it are in {past}", flush=True)
            raise
        seconds = time.monotonic() - began
        if count == options.runs or seconds > 60.0 * options.minutes:
            print(
                f"{options.target}: {count} inputs in {seconds:.0f} s, {count / seconds:.0f} a second, "
                f"peak memory {early_mb:.0f} MiB after {tenth}, {_peak_mb():.0f} MiB at the end",
                flush=True,
            )
            # libFuzzer's alarm goes on while Python ends, when nothing catches it any more.
            signal.setitimer(signal.ITIMER_REAL, 0)
            if count < options.runs:
                os._exit(0)

    inherited_mb = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    arguments = [
        sys.argv[0],
        f"-atheris_runs={options.runs}",
        f"-max_len={LONGEST[options.target]}",
        f"-seed={options.seed}",
        "-timeout=10",  # seconds for one input: more is a hang
        f"-rss_limit_mb={1024 + inherited_mb:.0f}",  # libFuzzer goes by getrusage
        f"-artifact_prefix={options.finds}/",
        "-print_final_stats=0",
        "-verbosity=1",
        "-len_control=100",
    ]
    if options.keep is not None:
        options.keep.mkdir(parents=True, exist_ok=True)
        arguments.append(str(options.keep))
    with tempfile.TemporaryDirectory() as scratch:
        if options.keep is None:
            arguments.append(scratch)  # the first folder is written to: never the corpus itself
        arguments.append(str(CORPUS / options.target))
        atheris.Setup(arguments, one)
        atheris.Fuzz()
    return 0


def _mutate(options: argparse.Namespace) -> int:
    """A run of `mutate.py`: a line every 20,000 inputs, and each find as it comes."""
    import targets
    from mutate import BLOCK, mutate, read_status_mib

    target = targets.TARGETS[options.target]
    longest, parts = MUTATED[options.target]
    seed = options.seed or random.SystemRandom().randrange(1, 1 << 32)
    keep = None if options.keep is None else _Keeper(options.keep)
    pool = sorted(CORPUS.joinpath(options.target).iterdir())
    pool += sorted(options.keep.iterdir()) if options.keep is not None else []
    first, last = options.first // BLOCK, -(-options.runs // BLOCK)
    known: set[str] = set()
    run = None
    for run in mutate(
        target,
        [path.read_bytes() for path in pool],
        watched=[str((TOP / "host" / "beamfall" / part).resolve()) for part in parts],
        longest=longest,
        seed=seed,
        blocks=range(first, last),
        keep=keep,
    ):
        for name in run.finds.keys() - known:
            known.add(name)
            path = options.finds / f"{options.target}-{len(known)}"
            path.write_bytes(run.finds[name])
            print(f"{options.target}: {name}: {path}", flush=True)
        if run.done % (20 * BLOCK) == 0:
            print(
                f"{options.target}: at {first * BLOCK + run.done}, seed {seed}, {run.rate:.0f} a CPU second, "
                f"{len(run.parents)} kept, {read_status_mib('VmRSS'):.0f} MiB",
                flush=True,
            )
        if time.monotonic() - run.began > 60.0 * options.minutes:
            break
    assert run is not None, "no inputs: --runs is not above --first"
    print(
        f"{options.target}: {run.done} inputs, seed {seed}, in {time.monotonic() - run.began:.0f} s, "
        f"{run.rate:.0f} a CPU second, memory {run.first_mib:.0f} MiB after {BLOCK}, "
        f"{read_status_mib('VmRSS'):.0f} MiB at the end, {len(known)} finds"
    )
    if isinstance(target, targets.outside.BoardTarget):
        print(f"{target.frames} frames of the boards")
    return 1 if known else 0


class _Keeper:
    """Writes inputs to a folder."""

    def __init__(self, folder: Path) -> None:
        folder.mkdir(parents=True, exist_ok=True)
        self._folder = folder

    def __call__(self, data: bytes) -> None:
        name = hashlib.sha256(data).hexdigest()[:16]
        self._folder.joinpath(name).write_bytes(data)


def _minimise(target: str, folder: Path) -> int:
    """Keep the inputs of a folder that reach new lines of the code under test, smallest first."""
    _find_modules()
    import targets

    _, parts = MUTATED.get(target, (0, ("",)))
    watched = tuple(str((TOP / "host" / "beamfall" / part).resolve()) for part in parts)
    seen: set[tuple[str, int, int]] = set()
    fresh: set[tuple[str, int, int]] = set()
    last = [0]

    def trace(frame, event, argument):  # type: ignore[no-untyped-def]
        name = frame.f_code.co_filename
        if not name.startswith(watched):
            return None
        if event == "line":
            arc = (name, last[0], frame.f_lineno)  # from line to line: more than lines alone
            last[0] = frame.f_lineno
            if arc not in seen:
                fresh.add(arc)
        return trace

    kept = 0
    into = CORPUS / target
    inputs = sorted(
        {
            path.read_bytes()
            for place in (folder, into)
            if place.is_dir()
            for path in place.iterdir()
        },
        key=lambda data: (len(data), data),
    )
    chosen: list[bytes] = []
    for data in inputs:
        fresh.clear()
        last[0] = 0
        sys.settrace(trace)
        try:
            targets.TARGETS[target](data)
        finally:
            sys.settrace(None)
        if fresh:
            seen |= fresh
            chosen.append(data)
    for path in into.iterdir():
        path.unlink()
    for data in chosen:
        kept += 1
        into.joinpath(f"{kept:03d}").write_bytes(data)
    print(f"{target}: {kept} of {len(inputs)} inputs kept, {sum(map(len, chosen))} bytes")
    return 0


if __name__ == "__main__":
    sys.exit(main())
