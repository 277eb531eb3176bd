"""Coverage-guided fuzzing of both decoders and of a whole board (atheris; Linux; `pip install 'beamfall[fuzz]'`).

    python tests/torture/fuzz.py host   --runs 10000000      the host's decoder and link
    python tests/torture/fuzz.py reader --runs 10000000      the firmware's decoder, held against the host's
    python tests/torture/fuzz.py step   --runs 10000000      the firmware's whole step, fed with bytes
    python tests/torture/fuzz.py board  --runs 1000000       whole shots on a new board each, judged at its pins
    python tests/torture/fuzz.py talk   --runs 1000000       the whole host, at a board that says anything
    python tests/torture/fuzz.py rig, sequence, picture      files of these kinds

Ends with one line: inputs, seconds, inputs a second, peak memory at a tenth of the way and at the end. An input that
breaks something is written to the folder of --finds and the exit status is not 0. With --keep DIR the inputs that
reached something new are kept there; `--minimise FROM` puts the smallest set of them that reaches the same into the
corpus.
"""

from __future__ import annotations

import argparse
import math
import os
import resource
import sys
import tempfile
import time
from pathlib import Path

HERE = Path(__file__).resolve().parent
TOP = HERE.parents[1]
CORPUS = HERE / "corpus"
LONGEST = {  # bytes of one input
    "host": 48, "reader": 48, "step": 64, "board": 200, "talk": 300, "rig": 40, "sequence": 40, "picture": 60,
}  # fmt: skip
_WIRE = ("beamfall.wire", "beamfall.link", "beamfall_board", "ports")
WATCHED = {
    "talk": ("beamfall.wire", "beamfall.link", "beamfall.board_session", "beamfall.board", "beamfall.events"),
    "rig": ("beamfall.setup",), "sequence": ("beamfall.setup",), "picture": ("beamfall.photos", "exifread"),
}  # fmt: skip


def _peak_mb() -> float:
    """Of this process alone; what getrusage says also has what its parent used when it was begun."""
    status = Path("/proc/self/status").read_text(encoding="ascii")
    return int(status.partition("VmHWM:")[2].split()[0]) / 1024


def main() -> int:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("target", choices=tuple(LONGEST))
    parser.add_argument("--runs", type=int, default=100_000)
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

    import atheris

    for folder in (HERE, TOP / "firmware", TOP / "host"):
        sys.path.insert(0, str(folder))
    with atheris.instrument_imports(include=list(WATCHED.get(options.target, _WIRE))):
        import targets
        from outside import BoardTarget
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
            if isinstance(target, BoardTarget):
                print(f"{target.frames} frames of the board's", flush=True)
            if count < options.runs:
                os._exit(0)

    inherited_mb = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    options.finds.mkdir(parents=True, exist_ok=True)
    CORPUS.joinpath(options.target).mkdir(parents=True, exist_ok=True)
    arguments = [
        sys.argv[0],
        f"-atheris_runs={options.runs}",
        f"-max_len={LONGEST[options.target]}",
        f"-seed={options.seed}",
        f"-timeout={60 if options.target in WATCHED else 10}",  # seconds for one input: more is a hang
        f"-rss_limit_mb={1024 + inherited_mb:.0f}",  # libFuzzer goes by getrusage
        f"-artifact_prefix={options.finds}/",
        "-print_final_stats=0",
        "-verbosity=1",
        "-len_control=0" if options.target in WATCHED else "-len_control=100",
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


def _minimise(target: str, folder: Path) -> int:
    """Keep, of all inputs of a folder, those that add lines of the code under test; smallest first."""
    for path in (HERE, TOP / "firmware", TOP / "host"):
        sys.path.insert(0, str(path))
    import targets

    watched = (str(TOP / "firmware"), str(TOP / "host" / "beamfall"))
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
